// @ts-check
/**
 * What a stopwatch form shows and sends: digits, splits, and the hidden fields the server
 * reads. Its states are "idle delay running doubt sending".
 *
 * @typedef {import("./timing.js").Run} Run
 * @typedef {import("./timing.js").Mark} Mark
 */
import { clocksOf } from "./doubts.js";
import { fill, part, say, see } from "./fields.js";
import { notAtOnce } from "./press.js";
import { bothMs, elapsed, rawMs, since, splitsMs, tenths } from "./timing.js";
import { offerUndo } from "./undo.js";

/** @param {HTMLFormElement} form @param {Run} run */
export function fillFrom(form, run) {
  fill(form, {
    uid: run.uid,
    raw_ms: String(rawMs(run)),
    splits_ms: JSON.stringify(splitsMs(run)),
    clocks: JSON.stringify(clocksOf(run)),
    range_ok: run.confirmed ? "yes" : "",
  });
  if (run.outcome) fill(form, { outcome: run.outcome });
}

/** @typedef {"idle" | "delay" | "running" | "doubt" | "sending"} State */

/** @param {HTMLFormElement} form @param {State} state */
export function show(form, state) {
  see(form, state);
  offerUndo();
}

/** What the two clocks say, and why it is asked. @param {HTMLFormElement} form */
export function askBoth(form, /** @type {Run} */ run, /** @type {string[]} */ why) {
  notAtOnce(form.querySelectorAll("[data-doubt] button"));
  const { mono, wall } = bothMs(run, run.seen ?? run.stop ?? run.start);
  const [steady, day] = [tenths(mono), tenths(wall)];
  say(form, "why", why.join(" "));
  say(form, "mono", `${steady} s`);
  say(form, "wall", `${day} s`);
  const same = steady === day;
  say(form, "confirm", same ? `Save ${steady} s` : `Save ${steady} s, steady clock`);
  say(form, "confirm-wall", `Save ${day} s, time of day`);
  part(form, "confirm")?.toggleAttribute("hidden", !same && mono === 0);
  part(form, "confirm-wall")?.toggleAttribute("hidden", same || wall === 0);
}

/** @param {HTMLFormElement} form @param {Run | null} run @param {Mark} now */
export function paint(form, run, now) {
  const ahead = run ? -since(run.start, now) : 0;
  say(form, "ahead", ahead > 0 ? String(Math.ceil(ahead / 1000)) : "");
  const ran = run && (run.stop ? rawMs(run) : elapsed(run.start, now));
  say(form, "clock", tenths(ran ?? 0));
  const times = run ? splitsMs(run) : [];
  form.querySelectorAll("[data-splits] > li").forEach((element, place) => {
    const item = /** @type {HTMLElement} */ (element);
    item.dataset.name ??= item.textContent ?? "";
    const words = place < times.length ? tenths(times[place]) : item.dataset.name;
    item.classList.toggle("done", place < times.length);
    if (item.textContent !== words) item.textContent = words;
  });
}
