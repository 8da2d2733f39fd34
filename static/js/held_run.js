// @ts-check
/**
 * `[data-held-run]` on the bedside sheet: the clock of a patient's page that could not
 * be loaded again without a network. It is stopped here; the page saves it later.
 *
 * The sheet stands in the place of that page, so it gives way as soon as the server
 * answers. "online" alone is no answer: a phone says it when it has found a network, and
 * a page asked for in that moment may still fail and bring this sheet once more.
 */
import { keptRuns, load, save } from "./kept.js";
import { momentOf, onPress } from "./press.js";
import { elapsed, rawMs, tenths } from "./timing.js";

const PAGE_OF = /^round-\d+$/;
const STOPPED = "Stopped and kept on this phone. It is saved when its page opens again.";
const ASK_EVERY_MS = 3_000;
const PATIENCE_MS = 5_000;

/** @param {HTMLElement} place */
export function heldRun(place) {
  comeBack(place);
  const runs = keptRuns().filter(([key]) => PAGE_OF.test(key));
  const found = runs.find(([, run]) => !run.stop) ?? runs[0];
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
    if (!run.stop) return void requestAnimationFrame(paint);
    for (const name of ["stop", "safe"]) part(name).hidden = true;
    part("said").textContent = STOPPED;
    part("steps").hidden = run.outcome !== "stopped";
  };
  const stop = (/** @type {Event} */ event, outcome = "") => {
    const run = load(key);
    if (!run || run.stop) return;
    Object.assign(run, { stop: momentOf(event), reloaded: true, outcome });
    save(key, run);
    paint();
  };
  onPress(part("stop"), (event) => stop(event));
  onPress(part("safe"), (event) => stop(event, "stopped"));
  paint();
}

/** @param {HTMLElement} place */
function comeBack(place) {
  if (window.location.pathname === "/bedside") return; // nobody's place is taken
  let asking = false;
  const look = async () => {
    const busy = asking || document.hidden || inUse();
    if (busy || !place.isConnected) return;
    asking = true;
    if (await answers()) window.location.reload();
    asking = false;
  };
  window.addEventListener("online", look);
  document.addEventListener("visibilitychange", look);
  setInterval(look, ASK_EVERY_MS);
}

/** A test opened on the sheet meanwhile: what is typed there would be lost. */
function inUse() {
  return Boolean(document.querySelector("[data-bedside] [data-place] form"));
}

/** Our own server, not the sign-on page of some network. */
async function answers() {
  try {
    const signal = AbortSignal.timeout?.(PATIENCE_MS);
    const answer = await fetch("/healthz", { cache: "no-store", signal });
    return answer.ok && answer.headers.has("x-request-id");
  } catch {
    return false;
  }
}
