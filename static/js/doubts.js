// @ts-check
/**
 * Whether a time can be vouched for, and what the server keeps beside it.
 *
 * @typedef {import("./timing.js").Run} Run
 */
import { bothMs, DISAGREE_MS, rawMs, tenths } from "./timing.js";

/** The server takes no more of them. */
const MOST_MARKS = 100;

/** @param {Run} run */
export function resumed(run) {
  return Boolean(run.stop) && (run.reloaded || run.stop?.origin !== run.start.origin);
}

/** @param {Run} run */
export function clocksDisagree(run) {
  const end = run.seen ?? run.stop;
  if (!end || end.origin !== run.start.origin) return false;
  const drift = end.wall - end.mono - (run.start.wall - run.start.mono);
  return Math.abs(drift) > DISAGREE_MS;
}

/**
 * Why this time needs a person's yes before it is saved; empty when it does not.
 * @param {Run} run
 */
export function doubts(run) {
  const why = [];
  if (clocksDisagree(run)) why.push("The phone's two clocks disagree.");
  if (resumed(run)) why.push("The page was loaded again during the trial.");
  else if (run.hidden) why.push("The page was out of sight during the trial.");
  if (isUnlikely(run)) {
    const ran = tenths(rawMs(run) ?? 0);
    why.push(`${ran} s is outside what is usual for this test (${run.low} to ${run.high} s).`);
  }
  return why;
}

/** A time that no trial of this test is likely to take. @param {Run} run */
export function isUnlikely(run) {
  const ran = rawMs(run);
  if (ran === null || run.outcome || !run.high) return false;
  return ran < 1000 * run.low || ran > 1000 * run.high;
}

/**
 * What the server keeps beside the time: both clocks, and which was believed.
 * @param {Run} run
 */
export function clocksOf(run) {
  const { start, stop, seen, hidden, confirmed, delay, undone } = run;
  const end = seen ?? stop;
  const both = end && bothMs(run, end);
  return {
    timeOrigin: start.origin, start, splits: run.splits.slice(0, MOST_MARKS), stop,
    hidden, resumed: resumed(run), doubtful: doubts(run).length > 0, confirmed,
    mono_ms: both && both.mono, wall_ms: both && both.wall,
    used: run.by || (stop && stop.origin !== start.origin ? "wall" : "mono"),
    delay_ms: delay, resumed_after_undo: undone,
  };
}
