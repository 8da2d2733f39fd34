// @ts-check
/**
 * `[data-held-run]` on the bedside sheet: the clock of a patient's page that could not
 * be loaded again without a network. It is stopped here; the page saves it later.
 */
import { keptRuns, load, save } from "./kept.js";
import { momentOf, onPress } from "./press.js";
import { elapsed, rawMs, tenths } from "./timing.js";

const PAGE_OF = /^round-\d+$/;

/** @param {HTMLElement} place */
export function heldRun(place) {
  const found = keptRuns().find(([key, run]) => PAGE_OF.test(key) && !run.stop);
  reloadWithNetwork();
  if (!found) return;
  const [key] = found;
  const part = (/** @type {string} */ name) =>
    /** @type {HTMLElement} */ (place.querySelector(`[data-held-${name}]`));
  place.hidden = false;
  part("test").textContent = found[1].test;
  const paint = () => {
    const run = load(key);
    if (!run) return void (place.hidden = true);
    const ran = run.stop ? rawMs(run) : elapsed(run.start, momentOf());
    part("clock").textContent = tenths(ran ?? 0);
    if (!run.stop) requestAnimationFrame(paint);
  };
  const stop = (/** @type {Event} */ event, outcome = "") => {
    const run = load(key);
    if (!run || run.stop) return;
    Object.assign(run, { stop: momentOf(event), reloaded: true, outcome });
    save(key, run);
    for (const name of ["stop", "safe"]) part(name).hidden = true;
    part("said").textContent = "Stopped and kept on this phone. It is saved when its page opens again.";
    part("steps").hidden = !outcome;
    paint();
  };
  onPress(part("stop"), (event) => stop(event));
  onPress(part("safe"), (event) => stop(event, "stopped"));
  paint();
}

/** The sheet stands in the place of another page only while there is no network. */
function reloadWithNetwork() {
  if (window.location.pathname === "/bedside") return;
  window.addEventListener("online", () => window.location.reload());
}
