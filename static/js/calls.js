// @ts-check
/**
 * What a caller calls: the same kind, options and seed always give the same calls.
 *
 * The random numbers are mulberry32, a small public-domain generator with 32 bits of
 * state: no secret hangs on it, only that two phones call alike.
 *
 * @typedef {{kind: string, choices: string[], calls: number, seed: number,
 *   noRepeat: boolean, even: boolean, stops: number, rule: string, length: number,
 *   by: number}} Options
 *   `even`: as many to the left as to the right, within one; `stops`: percent of
 *   "stop"; `rule`: "same", "opposite" or "changes" (half-way); `by`: 1, 3 or 7.
 * @typedef {{shown: string, said: string, log: string, paces: number}} Cue
 *   `log` is empty for what is no call of its own; `paces` until the next one.
 */

/** mulberry32: numbers from 0 up to 1. @param {number} seed @returns {() => number} */
export function randoms(seed) {
  let state = seed >>> 0;
  return () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let mixed = Math.imul(state ^ (state >>> 15), 1 | state);
    mixed = (mixed + Math.imul(mixed ^ (mixed >>> 7), 61 | mixed)) ^ mixed;
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 4_294_967_296;
  };
}

/** 1 to the right, -1 to the left, 0 neither. @param {string} kind @param {string} call */
export function sideOf(kind, call) {
  const hour = kind === "clock" ? Number(call) % 12 : 0;
  if (hour % 6) return hour < 6 ? 1 : -1;
  return (/\bright\b/i.test(call) ? 1 : 0) - (/\bleft\b/i.test(call) ? 1 : 0);
}

const TRIES = 100;

/**
 * `count` choices in a random order. `even`, where there are both sides, never lets one
 * run ahead by more than two, and ends within one; a single call on one side can leave no
 * way to that, and then none runs ahead by more than one.
 * @param {Options} options @param {number} count @param {() => number} random
 * @returns {string[]}
 */
export function drawn({ kind, choices, noRepeat, even }, count, random) {
  const side = (/** @type {string} */ call) => sideOf(kind, call);
  const both = even && [1, -1].every((s) => choices.some((call) => side(call) === s));
  /** @type {string[]} */
  let made = [];
  for (let tries = 0; tries < TRIES; tries += 1) {
    let ahead = 0;
    made = [];
    while (made.length < count) {
      const most = made.length === count - 1 || tries > TRIES / 2 ? 1 : 2;
      const may = choices.filter((call) => !both || Math.abs(ahead + side(call)) <= most);
      const other = may.filter((call) => !noRepeat || call !== made.at(-1));
      const from = other.length || choices.length > 1 ? other : may;
      if (!from.length) break; // no way on from here: begin anew
      made.push(from[Math.floor(random() * from.length)]);
      ahead += side(made[made.length - 1]);
    }
    if (made.length === count) return made;
  }
  return made;
}

/** Exactly the share asked for, in a random order. @param {Options} options
 * @param {() => number} random */
function goAndStop(options, random) {
  const stops = Math.round((options.calls * options.stops) / 100);
  const calls = drawn(options, options.calls - stops, random);
  for (let place = 0; place < stops; place += 1) {
    calls.splice(Math.floor(random() * (calls.length + 1)), 0, "stop");
  }
  return calls;
}

/** The right answers, down to the last above 0. @param {number} start @param {number} by */
export function chain(start, by) {
  const length = Math.floor((start - 1) / by) + 1;
  return Array.from({ length }, (_, step) => start - step * by);
}

export const BY = /** @type {Record<number, string>} */ ({ 1: "ones", 3: "threes", 7: "sevens" });

/** @param {string} text @param {Partial<Cue>} [about] @returns {Cue} */
const cue = (text, about = {}) => ({ shown: text, said: text, log: text, paces: 1, ...about });
const OPPOSITE = cue("Opposite", { said: "Opposite rule now", log: "", paces: 2 });

/** As it is spoken. @param {string} kind @param {string} call */
function spoken(kind, call) {
  if (!/^\d+(\.\d+)?$/.test(call)) return call;
  return { clock: `${call} o'clock`, marks: `${call} inches` }[kind] ?? call;
}

/** All that is shown and said, in order. @param {Options} options @returns {Cue[]} */
export function script(options) {
  const { kind, calls, length, by, rule } = options;
  const random = randoms(options.seed);
  if (kind === "subtract") {
    const start = 50 + Math.floor(random() * 51);
    const said = `Start at ${start}. Count down by ${BY[by]}.`;
    return [cue(String(start), { said, log: `${start} by ${by}`, paces: Infinity })];
  }
  if (kind === "sequence") {
    return Array.from({ length: calls }, () => drawn(options, length, random)).flatMap(
      (items) => [...items.map((item) => cue(item, { log: "" })),
        cue("Now", { log: items.join(", "), paces: length + 1 })]);
  }
  const made = kind === "go_stop" ? goAndStop(options, random)
    : drawn(options, calls, random);
  const cues = made.map((call) => cue(call, { said: spoken(kind, call) }));
  if (kind === "go_stop" && rule === "changes") cues.splice(Math.ceil(calls / 2), 0, OPPOSITE);
  return cues;
}
