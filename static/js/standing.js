// @ts-check
/**
 * `[data-standing=KEY]`: how long a person has been standing, from the tap "stood up".
 * It says when one and three minutes are over, and lies on the phone's disk, so that a
 * reload or a saved reading does not lose it. It stops nothing and is no result.
 */
import { person } from "./asking.js";
import { makeReady, ring } from "./cues.js";
import { drop, keptRuns, loadOwn, save } from "./kept.js";
import { momentOf, notAtOnce, onPress } from "./press.js";
import { begun, elapsed } from "./timing.js";
import { newUid } from "./uid.js";

/** Seconds of standing, and what is due then. */
const DUE = /** @type {const} */ ([
  [180, "3 minutes standing: take the reading"],
  [60, "1 minute standing: take the reading"],
  [0, "Standing: the next word comes at 1 minute"],
]);
/** Nobody stands on for so long: it was forgotten. */
const FORGOTTEN_S = 3600;

/** @param {number} seconds */
const clockWords = (seconds) =>
  `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;

/** @param {HTMLElement} place */
export function standing(place) {
  const key = place.dataset.standing ?? "";
  const part = (/** @type {string} */ name) =>
    /** @type {HTMLElement} */ (place.querySelector(`[data-${name}]`));
  forgetOld();
  let said = "";
  /** @param {boolean} [rings] */
  const look = (rings = true) => {
    const run = loadOwn(key, person());
    const seconds = run ? Math.floor(elapsed(run.start, momentOf()) / 1000) : 0;
    part("stood").textContent = clockWords(seconds);
    part("stood-up").hidden = Boolean(run);
    part("sat-down").hidden = !run;
    const words = run ? DUE.find(([from]) => seconds >= from)?.[1] ?? "" : "";
    if (words === said) return;
    said = words;
    part("stood-says").textContent = words;
    place.classList.toggle("due", seconds >= 60);
    if (rings && seconds >= 60) ring();
  };
  const tell = (/** @type {string} */ what) => // the screen is to stay on
    place.dispatchEvent(new CustomEvent(`stopwatch:${what}`, { bubbles: true }));
  onPress(part("stood-up"), (event) => {
    makeReady();
    save(key, begun(newUid(), momentOf(event), { person: person() }));
    notAtOnce([part("sat-down")]); // it comes to lie under the finger
    tell("start");
    look();
  });
  part("sat-down").addEventListener("click", () => { drop(key); tell("stop"); look(); });
  place.hidden = false;
  look(false); // what was rung before is not rung again
  const timer = setInterval(() => (place.isConnected ? look() : clearInterval(timer)), 250);
}

/** Of any round: a person left standing an hour ago stands no more. */
function forgetOld() {
  for (const [key, run] of keptRuns()) {
    const old = elapsed(run.start, momentOf()) > 1000 * FORGOTTEN_S;
    if (key.startsWith("stand-") && old) drop(key);
  }
}
