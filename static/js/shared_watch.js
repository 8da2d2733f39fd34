// @ts-check
/**
 * A stopwatch that two phones work: what was pressed on the other one is done here, before
 * it sends a time the other phone is heard, and what its clocks cannot vouch for is asked
 * about like any doubtful time.
 *
 * @typedef {import("./help_link.js").Said} Said
 * @typedef {any} Watch form.watch of stopwatch_bind.js
 */
import { doubts } from "./doubts.js";
import { fill } from "./fields.js";
import { save } from "./kept.js";
import { momentOf } from "./press.js";
import { later, rawMs } from "./timing.js";

const UNDONE = "Doubtful timing: the stop was undone between two phones.";

/**
 * When the other phone started, by this phone's clock; null while a later answer may tell.
 * What has been stopped there as well is told by how long it ran.
 * @param {Said} said @param {boolean} compared no later answer will tell more
 */
function beganAt({ start, stop }, compared) {
  const now = performance.now();
  if (typeof start?.mono === "number") return start.mono;
  if (typeof stop?.ran_ms === "number") return now - stop.ran_ms;
  return compared ? now : null;
}

/** @param {Watch} watch @param {Said} said @param {boolean} compared */
export function startHere(watch, said, compared) {
  const began = beganAt(said, compared);
  if (began === null) return; // the moment of hearing is not the moment of the press
  if (!watch.run) watch.start();
  const now = momentOf();
  const start = later(now, began - now.mono);
  const { trial: uid, helped, doubt } = said;
  Object.assign(watch.run, { uid, start, helped, unsure: doubt });
  save(watch.key, watch.run);
}

/**
 * Whether that is done; if not, the next answer does it: a start may wait for its moment,
 * and a stop right after it is taken for the same touch.
 * @param {Watch} watch @param {Said} said
 */
export function stopHere(watch, { trial, stop, helped, doubt }) {
  const { run, form } = watch;
  const ours = run?.uid === trial;
  if (!stop?.safe) {
    if (ours && !run.stop) watch.stop({ timeStamp: performance.now() });
    return ours && Boolean(run.stop);
  }
  if (ours) Object.assign(run, { helped, unsure: doubt });
  else if (!run && form.dataset.state === "idle") fill(form, { uid: trial });
  const { mono, origin } = ours ? run.start : momentOf();
  const ran = ours && stop.ran_ms !== null ? stop.ran_ms : performance.now() - mono;
  watch.safe({ timeStamp: origin - performance.timeOrigin + mono + ran });
  return true;
}

/**
 * Between the stop and the sending of a time.
 * @param {Watch} watch
 * @param {(run: any) => Promise<void>} first
 */
export function beforeClosing(watch, first) {
  // The helper presses at "go": a start after some seconds would be another start.
  watch.form.querySelector("[data-pref=delay]")?.closest("[role=group]")?.remove();
  watch.close = async (/** @type {any} */ run) => {
    watch.now("sending");
    await first(run);
    // Made safe, undone or taken by the other phone meanwhile.
    if (watch.run !== run || watch.form.dataset.state !== "sending") return;
    save(watch.key, run);
    const why = [...doubts(run), run.unsure].filter(Boolean);
    if (why.length) watch.ask(why);
    else watch.send();
  };
}

/**
 * How long it ran and how sure that is, once the server knows of a stop, whichever phone's:
 * the start here is only as good as the first answer that told it. Until then the doubt
 * stands that came with the start.
 * @param {any} run @param {Said | null} said
 */
export function settle(run, said) {
  if (said?.stop && said.helped && said.trial === run.uid) {
    const { stop, helped, doubt } = said;
    Object.assign(run, { helped, unsure: doubt });
    if (stop.ran_ms !== null && !cameToItsEnd(run, said)) {
      Object.assign(run, { stop: later(run.start, stop.ran_ms), seen: null });
    }
  }
  if (run.undone && run.helped) {
    Object.assign(run, { helped: { ...run.helped, bound_ms: null }, unsure: UNDONE });
  }
}

/** Nobody pressed: its limit was over here, and the server's time agrees within its bound.
 * @param {any} run @param {Said} said */
function cameToItsEnd(run, { stop, helped }) {
  const off = Math.abs((stop?.ran_ms ?? 0) - (rawMs(run) ?? 0));
  return Boolean(run.seen) && stop?.side === "owner" && off <= helped.bound_ms;
}
