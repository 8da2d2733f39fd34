// @ts-check
/** Starts what has to do with a day pack; only pages that name this file load it. */
import { lookAtPack } from "./pack_guard.js";
import { packTake } from "./pack_take.js";
import { packRead } from "./pack_view.js";

for (const place of document.querySelectorAll("[data-pack-of]")) {
  lookAtPack(/** @type {HTMLElement} */ (place).dataset.packOf).catch(() => {});
}
for (const place of document.querySelectorAll("[data-pack-take]")) {
  packTake(/** @type {HTMLElement} */ (place));
}
for (const place of document.querySelectorAll("[data-pack-read]")) {
  packRead(/** @type {HTMLElement} */ (place));
}
