// @ts-check
/** The figure between two frames: pure, so that it can be tested without a page. */

/** Further up than this, a point is not in the picture (tenths of a cm). */
const AWAY = -8000;

/**
 * @typedef {{points: string[], steps: number[], first: number[], moves: number[][],
 *   said: number[], lines: {text: string, cue: boolean}[]}} Motion
 * @typedef {{times: number[], frames: number[][], said: number[]}} Reel
 */

/**
 * Differences put together again.
 * @param {Motion} motion
 * @returns {Reel} */
export function decode(motion) {
  let now = 0;
  const times = motion.steps.map((step) => (now += step));
  const frames = [motion.first];
  for (const move of motion.moves) {
    const before = frames[frames.length - 1];
    frames.push(move.map((by, i) => before[i] + by));
  }
  return { times, frames, said: motion.said };
}

/**
 * The frame at or before an instant, and how far on to the next one (0 to 1).
 * @param {number[]} times
 * @param {number} ms
 * @returns {[number, number]} */
export function between(times, ms) {
  const last = times.length - 1;
  if (ms <= times[0]) return [0, 0];
  if (ms >= times[last]) return [last, 0];
  let low = 0;
  let high = last;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (times[middle] <= ms) low = middle;
    else high = middle;
  }
  return [low, (ms - times[low]) / (times[high] - times[low])];
}

/**
 * All points at an instant, in cm: x, y, x, y ... A point that comes into the picture or
 * leaves it jumps, since it has no way there.
 * @param {Reel} reel
 * @param {number} ms */
export function poseAt(reel, ms) {
  const [i, share] = between(reel.times, ms);
  const one = reel.frames[i];
  const other = reel.frames[Math.min(i + 1, reel.frames.length - 1)];
  return one.map((v, n) => {
    const y = n | 1;
    const jumps = one[y] < AWAY || other[y] < AWAY;
    return (jumps ? v : v + (other[n] - v) * share) / 10;
  });
}

/**
 * How many sentences are due by an instant.
 * @param {Reel} reel
 * @param {number} ms */
export function saidBy(reel, ms) {
  const [i, share] = between(reel.times, ms);
  const one = reel.said[i];
  const other = reel.said[Math.min(i + 1, reel.said.length - 1)];
  return Math.floor((one + (other - one) * share) / 1000);
}

/**
 * Seen from the side: whether the toes point left.
 * @param {string[]} names
 * @param {number[]} pose */
export function facesLeft(names, pose) {
  const x = (/** @type {string} */ name) => pose[2 * names.indexOf(name)];
  if (!names.includes("ankle_r")) return false;
  return x("toe_r") + x("toe_l") < x("ankle_r") + x("ankle_l") - 4;
}
