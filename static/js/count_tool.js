// @ts-check
/**
 * `[data-counts=NAME]`: shows the number that counter.js keeps in the input of that name,
 * large, and answers each change: seen, and heard and felt where that is wanted.
 */
import { countIn } from "./counter.js";
import { tick } from "./cues.js";

/** Only the number lights up: a whole screen flashing fast can set off a seizure. */
const LIT_MS = 120;

/** @param {HTMLElement} place @param {import("./bout.js").Bout} bout */
export function counting(place, bout) {
  const name = place.dataset.counts ?? "";
  const shown = /** @type {HTMLElement} */ (place.querySelector("[data-count]"));
  // What nobody counted is not 0.
  const paint = () => { shown.textContent = bout.value(name) ? String(countIn(bout.value(name))) : "–"; };
  place.querySelector("[data-none]")?.addEventListener("click", () => bout.put(name, "0"));
  bout.form.addEventListener("input", (event) => {
    if (/** @type {HTMLInputElement} */ (event.target).name !== name) return;
    paint();
    tick();
    shown.classList.add("lit");
    setTimeout(() => shown.classList.remove("lit"), LIT_MS);
  });
  bout.form.addEventListener("bout:clear", paint);
  paint();
}
