// @ts-check
/**
 * `[data-rest=SECONDS]`: the rest after a set, counting down; its end is seen, and heard
 * and felt where that is wanted. `data-rest-key` keeps its start over a reload, and
 * `data-begins` starts it by itself. It keeps nobody from going on.
 */
import { person } from "./asking.js";
import { makeReady, ring } from "./cues.js";
import { drop, loadOwn, save } from "./kept.js";
import { momentOf, onPress } from "./press.js";
import { begun, elapsed } from "./timing.js";
import { newUid } from "./uid.js";

/** What is left of it, whole seconds up. @param {number} seconds @param {number} ran ms */
export function leftOf(seconds, ran) {
  return Math.max(0, Math.ceil(seconds - ran / 1000));
}

/** @param {number} left seconds */
export function leftWords(left) {
  return `${Math.floor(left / 60)}:${String(left % 60).padStart(2, "0")}`;
}

/** @param {HTMLElement} place */
export function rest(place) {
  const { rest: seconds = "60", restKey: key = "" } = place.dataset;
  const part = (/** @type {string} */ name) =>
    /** @type {HTMLElement} */ (place.querySelector(`[data-rest-${name}]`));
  let run = key ? loadOwn(key, person()) : null;
  let over = Boolean(run && leftOf(Number(seconds), elapsed(run.start, momentOf())) === 0);
  if (over) end();

  function end() {
    run = null;
    if (key) drop(key);
  }
  const look = () => {
    const left = run ? leftOf(Number(seconds), elapsed(run.start, momentOf())) : 0;
    if (run && left === 0) {
      end();
      over = true;
      ring();
    }
    place.dataset.rests = run ? "yes" : over ? "over" : "no";
    part("left").textContent = leftWords(run ? left : over ? 0 : Number(seconds));
    part("start").textContent = run ? "End the rest" : `Rest ${seconds} s`;
    const words = over ? "Rest is over" : run ? "Resting" : "";
    if (part("said").textContent !== words) part("said").textContent = words;
  };
  const start = (/** @type {Event} */ event) => {
    over = false;
    run = begun(newUid(), momentOf(event), { person: person() });
    if (key) save(key, run);
    makeReady();
  };
  onPress(part("start"), (event) => {
    if (run) end();
    else start(event);
    look();
  });
  place.addEventListener("rest:begin", (event) => {
    start(event);
    look();
  });
  place.hidden = false;
  if ("begins" in place.dataset) start(new Event("begins")); // of the set just saved
  look();
  const timer = setInterval(() => (place.isConnected ? look() : clearInterval(timer)), 200);
}
