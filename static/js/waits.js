// @ts-check
/** `[data-waits]`: the line on signed-in pages that leads to attaching what waits on this phone. */
import * as store from "./bedside_store.js";

/** @param {Element} place */
export async function showWaits(place) {
  const { length } = await store.waiting();
  const link = place.querySelector("a");
  const there = link?.pathname === location.pathname;
  place.toggleAttribute("hidden", there || length === 0);
  const what = length === 1 ? "1 result" : `${length} results`;
  if (link) link.textContent = `${what} from the bedside sheet: attach`;
}
