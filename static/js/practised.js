// @ts-check
/**
 * The stopwatch of `form[data-practised]`, on a simulated trial: after the stop nothing is
 * sent, but asked what was seen. "Stop - make safe" ends it the same way, and is practised. Its instants count from the moment the figure began to
 * move, on the same clock; the figure tells that by "figure:began" with `detail.origin`.
 *
 * @typedef {import("./stopwatch.js").Stopwatch} Stopwatch
 * @typedef {import("./timing.js").Run} Run
 */
import { doubts } from "./doubts.js";
import { fill, part, say } from "./fields.js";
import { drop } from "./kept.js";
import { momentOf, notAtOnce } from "./press.js";
import { rawMs, splitsMs } from "./timing.js";

const NO_FIGURE = "The figure had not begun to move: nothing was timed. Start it first.";
const NO_STOP = "The figure had not begun to move: nobody to make safe yet. Start it first.";

/** @param {Stopwatch} watch */
export function practised(watch) {
  const { form } = watch;
  let began = NaN;
  form.closest("#work")?.addEventListener("figure:began", (event) => {
    began = /** @type {CustomEvent} */ (event).detail.origin;
  });
  watch.close = (run) => {
    forget(watch);
    if (Number.isNaN(began)) {
      watch.clear();
      return say(form, "said", NO_FIGURE);
    }
    keepInstants(form, run, began);
    watch.now("doubt");
    ask(form, doubts(run));
  };
  watch.safe = (event) => {
    if (!["idle", "running"].includes(form.dataset.state ?? "")) return;
    forget(watch);
    watch.clear();
    if (Number.isNaN(began)) return say(form, "said", NO_STOP);
    const at = momentOf(event).mono - began;
    form.dispatchEvent(new CustomEvent("practice:stopped", { detail: at }));
    watch.now("doubt");
    ask(form, []);
  };
  window.addEventListener("pagehide", () => forget(watch));
}

/** It is seen once: nothing of it outlasts the page, and no stop is undone.
 * @param {Stopwatch} watch */
function forget(watch) {
  watch.forgetLast();
  drop(watch.key);
}

/** @param {HTMLFormElement} form @param {Run} run @param {number} began */
function keepInstants(form, run, began) {
  const start = Math.round(run.start.mono - began);
  const splits = splitsMs(run);
  fill(form, {
    start_ms: String(start),
    stop_ms: String(start + (rawMs(run) ?? 0)),
    splits_ms: JSON.stringify(splits),
  });
  if (form.dataset.seconds) fill(form, { count: String(splits.length) });
}

/** @param {HTMLFormElement} form @param {string[]} why */
function ask(form, why) {
  const asked = part(form, "asked");
  notAtOnce(asked?.querySelectorAll("button") ?? []);
  say(form, "why", why.join(" "));
  part(form, "why")?.toggleAttribute("hidden", !why.length);
  asked?.scrollIntoView({ block: "start" });
  asked?.focus({ preventScroll: true });
}
