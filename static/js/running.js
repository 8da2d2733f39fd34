// @ts-check
/**
 * `[data-running-bar]` on every page: a stopwatch that runs, or a time that was never saved, on
 * another page or in another tab of this person's or the sheet's. Ids, times and the test's name only.
 */
import { onSecondTap, person } from "./asking.js";
import { drop, keptRuns } from "./kept.js";
import { momentOf } from "./press.js";
import { elapsed, rawMs, tenths } from "./timing.js";

const LOOK_EVERY_MS = 1_000;

/** @param {string} key @returns {string} */
function addressOf(key) {
  const sheet = /^round-bedside-(\w+)$/.exec(key);
  return sheet ? `/bedside#${sheet[1]}` : `/rounds/${key.replace("round-", "").replace(/\.p\d+$/, "")}`;
}

/** The first that is not on this page. */
function elsewhere() {
  return keptRuns().find(([key, run]) => run.test && ["", person()].includes(run.person)
    && !document.querySelector(`form[data-stopwatch="${CSS.escape(key)}"]`));
}

/** @param {HTMLElement} bar */
export function showRunning(bar) {
  const link = /** @type {HTMLAnchorElement} */ (bar.querySelector("a"));
  const look = () => {
    const found = elsewhere();
    bar.hidden = !found;
    if (!found) return;
    const [key, run] = found;
    const ran = run.stop ? rawMs(run) : elapsed(run.start, momentOf());
    const at = tenths(ran ?? 0).replace(/\.\d$/, "");
    const words = run.stop ? `A time of ${run.test} is not saved yet: go to it`
      : `A stopwatch runs: ${run.test}, ${at} s. Go back to it`;
    if (link.textContent !== words) link.textContent = words;
    link.setAttribute("href", addressOf(key));
    dropIt = () => { drop(key); look(); };
  };
  let dropIt = () => {};
  const button = bar.querySelector("button");
  if (button) onSecondTap(button, () => dropIt());
  look();
  setInterval(look, LOOK_EVERY_MS);
}
