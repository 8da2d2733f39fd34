// @ts-check
/**
 * The arithmetic of the stopwatch: marks in, durations and doubts out. No page here.
 *
 * A mark keeps both clocks at one touch: `mono` counts from `origin` and never jumps,
 * but may stop while the phone sleeps; `wall` goes on, but jumps when it is set.
 *
 * @typedef {{mono: number, wall: number, origin: number}} Mark
 * @typedef {{uid: string, start: Mark, splits: Mark[], stop: Mark | null,
 *   hidden: boolean, confirmed: boolean, outcome: string}} Run
 */

/** Clocks that differ by more than this many milliseconds are not believed. */
export const DISAGREE_MS = 250;
/** A second touch this soon after the first is the same finger bouncing. */
export const BOUNCE_MS = 250;

/**
 * Both clocks at the touch itself, not at the handler that learns of it later.
 * An event without a usable stamp counts as happening now.
 * @param {number} stamp event.timeStamp
 * @param {{now: number, wall: number, origin: number}} clocks read in the handler
 * @returns {Mark}
 */
export function markAt(stamp, clocks) {
  const usable = stamp > 0 && stamp <= clocks.now;
  const mono = usable ? stamp : clocks.now;
  return { mono, wall: clocks.wall - (clocks.now - mono), origin: clocks.origin };
}

/**
 * Milliseconds between two marks. After a reload the monotonic clock has started anew,
 * so only the wall clock spans the gap.
 * @param {Mark} from
 * @param {Mark} to
 */
export function elapsed(from, to) {
  const ms = from.origin === to.origin ? to.mono - from.mono : to.wall - from.wall;
  return Math.max(0, ms);
}

/**
 * Whole milliseconds of the trial, null while it has no end.
 * @param {Run} run
 */
export function rawMs(run) {
  return run.stop && Math.round(elapsed(run.start, run.stop));
}

/** @param {Run} run */
export function splitsMs(run) {
  return run.splits.map((split) => Math.round(elapsed(run.start, split)));
}

/**
 * Seconds to one decimal, half up, from whole milliseconds.
 * @param {number} ms
 */
export function tenths(ms) {
  const count = Math.floor((Math.round(ms) + 50) / 100);
  return `${Math.floor(count / 10)}.${count % 10}`;
}

/** @param {Run} run */
export function resumed(run) {
  return Boolean(run.stop) && run.stop?.origin !== run.start.origin;
}

/** @param {Run} run */
export function clocksDisagree(run) {
  if (!run.stop || resumed(run)) return false;
  const mono = run.stop.mono - run.start.mono;
  const wall = run.stop.wall - run.start.wall;
  return Math.abs(wall - mono) > DISAGREE_MS;
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
  return why;
}

/**
 * What the server keeps beside the time.
 * @param {Run} run
 */
export function clocksOf(run) {
  const { start, splits, stop, hidden, confirmed } = run;
  const doubtful = doubts(run).length > 0;
  return {
    timeOrigin: start.origin, start, splits, stop, hidden,
    resumed: resumed(run), doubtful, confirmed,
  };
}

/**
 * A stored run, or null for anything that is not one.
 * @param {string | null} text
 * @returns {Run | null}
 */
export function readRun(text) {
  try {
    const run = JSON.parse(text ?? "null");
    const whole = run && isMark(run.start) && Array.isArray(run.splits)
      && run.splits.every(isMark) && (run.stop === null || isMark(run.stop));
    return whole && typeof run.uid === "string" ? run : null;
  } catch {
    return null;
  }
}

/** @param {any} mark */
function isMark(mark) {
  return [mark?.mono, mark?.wall, mark?.origin].every(Number.isFinite);
}
