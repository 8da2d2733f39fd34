// @ts-check
/**
 * The arithmetic of the stopwatch: marks in, durations and doubts out. No page here.
 *
 * A mark keeps both clocks at one touch: `mono` counts from `origin` and never jumps,
 * but may stop while the phone sleeps; `wall` goes on, but jumps when it is set.
 *
 * A run with a `limit` ends by itself: `stop` is then the planned instant, and `seen`
 * the moment when the page noticed.
 *
 * @typedef {{mono: number, wall: number, origin: number}} Mark
 * @typedef {"" | "mono" | "wall"} Clock which one a person believed
 * @typedef {{uid: string, start: Mark, splits: Mark[], stop: Mark | null,
 *   seen: Mark | null, hidden: boolean, reloaded: boolean, confirmed: boolean,
 *   by: Clock, outcome: string, limit: number, delay: number, undone: boolean,
 *   extra: number, none: boolean, low: number, high: number, test: string, person: string}} Run
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

/** An instant that is planned, not met. @param {Mark} mark @param {number} ms */
export function later(mark, ms) {
  return { mono: mark.mono + ms, wall: mark.wall + ms, origin: mark.origin };
}

/** A new run. `low` and `high`: seconds that a trial of this test takes; 0, unknown.
 * @param {string} uid @param {Mark} start @param {Partial<Run>} [about] @returns {Run} */
export function begun(uid, start, about = {}) {
  return {
    uid, start, splits: [], stop: null, seen: null, hidden: false, reloaded: false,
    confirmed: false, by: "", outcome: "", limit: 0, delay: 0, undone: false, extra: 0,
    none: false, low: 0, high: 0, test: "", person: "", ...about,
  };
}

/** A stop by mistake: the same start goes on under another id. @param {Run} run */
export function reopened(run, /** @type {string} */ uid) {
  /** @type {Run} */
  const on = { ...run, uid, stop: null, confirmed: false, by: "", undone: true };
  return on;
}

/**
 * Milliseconds from one mark to another, negative before it. After a reload the
 * monotonic clock has started anew, so only the wall clock spans the gap.
 * @param {Mark} from
 * @param {Mark} to
 */
export function since(from, to) {
  return from.origin === to.origin ? to.mono - from.mono : to.wall - from.wall;
}

/** @param {Mark} from @param {Mark} to */
export function elapsed(from, to) {
  return Math.max(0, since(from, to));
}

/** Whole, never negative, never past the end. @param {Run} run @param {number} ms */
function whole(run, ms) {
  return Math.max(0, Math.round(run.limit ? Math.min(ms, run.limit) : ms));
}

/**
 * What each clock makes of the run so far. Page origins lie on one scale, so that the
 * steady clock can be read across a reload too, unless the browser was ended.
 * @param {Run} run
 * @param {Mark} end
 */
export function bothMs(run, end) {
  const mono = end.origin - run.start.origin + end.mono - run.start.mono;
  return { mono: whole(run, mono), wall: whole(run, end.wall - run.start.wall) };
}

/** Either clock has come to the end. @param {Run} run @param {Mark} now */
export function isOver(run, now) {
  if (!run.limit || run.stop) return false;
  return Math.max(...Object.values(bothMs(run, now))) >= run.limit;
}

/** The wall clock may be ahead of the steady one by so much without having jumped. */
const FRAME_MS = 20;

/**
 * Ends a run by itself: to the millisecond where the steady clock has come so far; if
 * it has not, it stood still or the wall clock jumped, and `doubts` says so.
 * @param {Run} run
 * @param {Mark} now
 */
export function endBySelf(run, now) {
  const left = run.limit - since(run.start, now);
  run.stop = left <= FRAME_MS ? later(run.start, run.limit) : now;
  run.seen = now;
}

/**
 * Whole milliseconds of the trial, null while it has no end.
 * @param {Run} run
 */
export function rawMs(run) {
  if (!run.stop) return null;
  if (run.by) return bothMs(run, run.seen ?? run.stop)[run.by];
  return whole(run, elapsed(run.start, run.stop));
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
