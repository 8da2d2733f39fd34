// @ts-check
/**
 * `[data-holds=FIELD]`: a pad that starts and stops, several times in a set. The field
 * gets every hold, or with `data-sum` their sum. The start lies on the phone, so a hold
 * goes on over a reload. `data-target` seconds are said when they are reached.
 */
import { ring, tick } from "./cues.js";
import { clocksDisagree } from "./doubts.js";
import { momentOf, onPress } from "./press.js";
import { begun, BOUNCE_MS, bothMs, elapsed, tenths } from "./timing.js";

/** As the field holds them. @param {string} text */
export function holdsIn(text) {
  return text.split(",").filter((part) => /^\d+$/.test(part)).map(Number);
}

/** The server takes no more. */
const MOST = 50;

/** @param {number[]} list @param {boolean} sum */
export function holdWords(list, sum) {
  const last = list.at(-1);
  if (last === undefined) return "None yet";
  if (sum) return `${tenths(last)} s in all`;
  const best = tenths(Math.max(...list));
  return `${list.length}: last ${tenths(last)} s, best ${best} s`;
}

/** Never "Stop" alone: the red button beside it says that. @param {boolean} runs @param {boolean} sum */
export function padWords(runs, sum) {
  if (!runs) return "Start";
  return sum ? "Stop the clock" : "Hold over";
}

/** Why a hold may not be what the clock says. @param {import("./timing.js").Run} run */
export function holdDoubt(run) {
  const { start, stop } = run;
  if (!stop) return "";
  if (start.origin !== stop.origin) return "The page was loaded again meanwhile: check the time.";
  if (!clocksDisagree(run)) return "";
  const { mono, wall } = bothMs(run, stop);
  return `The phone's two clocks disagree (${tenths(mono)} s and ${tenths(wall)} s): check the time.`;
}

/** @param {HTMLElement} place @param {import("./bout.js").Bout} bout */
export function holds(place, bout) {
  const { holds: name = "", sum, target = "" } = place.dataset;
  const part = (/** @type {string} */ what) =>
    /** @type {HTMLElement} */ (place.querySelector(`[data-${what}]`));
  const say = (/** @type {string} */ what, /** @type {string} */ words) => {
    if (part(what).textContent !== words) part(what).textContent = words;
  };
  const before = () => (sum ? holdsIn(bout.value(name))[0] ?? 0 : 0);
  let reached = false;

  const paint = () => {
    const start = bout.live(name);
    const ran = start ? elapsed(start, momentOf()) : 0;
    place.dataset.state = start ? "running" : "idle";
    say("pad-says", padWords(Boolean(start), Boolean(sum)));
    say("clock", tenths(before() + ran));
    say("holds-says", holdWords(holdsIn(bout.value(name)), Boolean(sum)));
    part("take-back").toggleAttribute("hidden", Boolean(start) || !bout.value(name));
    if (!start || !place.isConnected) return;
    if (target && !reached && ran >= 1000 * Number(target)) {
      reached = true;
      say("holds-note", `${target} s reached`);
      ring();
    }
    requestAnimationFrame(paint);
  };
  const start = (/** @type {Event} */ event) => {
    if (holdsIn(bout.value(name)).length >= MOST) {
      say("holds-note", `${MOST} holds: save this set first.`);
      return;
    }
    reached = false;
    say("holds-note", "");
    bout.setLive(name, momentOf(event));
    running();
  };
  const running = () => {
    bout.runs(name, { halt: (event) => stop(event), sounds: false });
    paint();
  };
  const stop = (/** @type {Event | undefined} */ event) => {
    const from = bout.live(name);
    if (!from) return;
    const run = begun("", from, { stop: momentOf(event) });
    const ms = Math.round(elapsed(from, run.stop ?? from));
    const list = holdsIn(bout.value(name));
    bout.setLive(name, null);
    bout.rests(name);
    bout.put(name, sum ? String(before() + ms) : [...list, ms].join(","));
    say("holds-note", holdDoubt(run));
    paint();
  };
  onPress(part("pad"), (event) => {
    const from = bout.live(name);
    if (from && elapsed(from, momentOf(event)) < BOUNCE_MS) return;
    tick();
    if (from) stop(event);
    else start(event);
  });
  part("take-back").addEventListener("click", () => {
    const list = sum ? [] : holdsIn(bout.value(name)).slice(0, -1);
    bout.put(name, list.join(","));
    say("holds-note", "Taken back");
    paint();
  });
  bout.form.addEventListener("bout:clear", paint);
  if (bout.live(name)) running();
  else paint();
}
