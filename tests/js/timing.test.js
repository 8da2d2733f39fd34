// Run with: node --test tests/js
import assert from "node:assert/strict";
import { test } from "node:test";
import { clocksOf, doubts } from "../../static/js/doubts.js";
import { readRun } from "../../static/js/kept.js";
import {
  begun, bothMs, elapsed, endBySelf, isOver, later, markAt, rawMs, reopened, splitsMs, tenths,
} from "../../static/js/timing.js";

const at = (ms, { origin = 1_000, wallShift = 0 } = {}) => (
  { mono: ms, wall: 1_000 + ms + wallShift, origin }
);
const runOf = (over = {}) => ({ ...begun("a", at(500)), stop: at(16_700), ...over });

test("tenths round half up from whole milliseconds", () => {
  const shown = [[0, "0.0"], [49, "0.0"], [50, "0.1"], [949, "0.9"], [950, "1.0"],
    [16_249, "16.2"], [16_250, "16.3"], [61_449.6, "61.5"], [600_000, "600.0"]];
  for (const [ms, words] of shown) assert.equal(tenths(ms), words, `${ms} ms`);
});

test("time is taken at the touch, not in the late handler", () => {
  const mark = markAt(1_000, { now: 1_400, wall: 50_400, origin: 7 });

  assert.deepEqual(mark, { mono: 1_000, wall: 50_000, origin: 7 });
});

test("an event without a usable stamp counts as now", () => {
  for (const stamp of [0, 1_401, 1.7e12]) {
    assert.equal(markAt(stamp, { now: 1_400, wall: 50_400, origin: 7 }).mono, 1_400);
  }
});

test("elapsed is monotonic within one page, whatever the wall clock does", () => {
  assert.equal(elapsed(at(500), at(16_700, { wallShift: 3_600_000 })), 16_200);
});

test("elapsed spans a reload by the wall clock", () => {
  const stop = { mono: 40, wall: 31_500, origin: 30_000 };

  assert.equal(elapsed(at(500), stop), 30_000);
});

test("elapsed is never negative", () => {
  assert.equal(elapsed(at(500), { mono: 1, wall: 2, origin: 99 }), 0);
});

test("a run without a stop has no time", () => {
  assert.equal(rawMs(runOf({ stop: null })), null);
});

test("raw and split times are whole milliseconds", () => {
  const run = runOf({ stop: at(16_700.6), splits: [at(3_400.2), at(6_600.5)] });

  assert.equal(rawMs(run), 16_201);
  assert.deepEqual(splitsMs(run), [2_900, 6_101]);
});

test("a clean run raises no doubt", () => {
  assert.deepEqual(doubts(runOf()), []);
});

test("clocks may disagree by 250 ms and not by more", () => {
  for (const shift of [250, -250]) {
    assert.deepEqual(doubts(runOf({ stop: at(16_700, { wallShift: shift }) })), []);
  }
  for (const shift of [251, -251, 5 * 3_600_000]) {
    const run = runOf({ stop: at(16_700, { wallShift: shift }) });
    assert.deepEqual(doubts(run), ["The phone's two clocks disagree."]);
  }
});

test("a page that was hidden raises a doubt", () => {
  assert.equal(doubts(runOf({ hidden: true })).length, 1);
});

test("a run resumed after a reload is marked so and doubted once", () => {
  const run = runOf({ hidden: true, stop: { mono: 40, wall: 31_500, origin: 30_000 } });

  assert.equal(doubts(run).length, 1);
  assert.equal(clocksOf(run).resumed, true);
  assert.equal(clocksOf(run).doubtful, true);
});

test("the server gets both clocks of every mark", () => {
  const clocks = clocksOf(runOf({ splits: [at(3_400)] }));

  assert.equal(clocks.timeOrigin, 1_000);
  assert.deepEqual(clocks.start, { mono: 500, wall: 1_500, origin: 1_000 });
  assert.deepEqual(clocks.splits, [at(3_400)]);
  assert.deepEqual(clocks.stop, at(16_700));
  assert.deepEqual(
    [clocks.hidden, clocks.resumed, clocks.doubtful, clocks.confirmed],
    [false, false, false, false],
  );
});

test("a stored run comes back as it was", () => {
  const run = runOf({ splits: [at(3_400)], stop: null });

  assert.deepEqual(readRun(JSON.stringify(run)), run);
});

test("anything stored that is not a run is nobody's trial", () => {
  const bad = [null, "", "{", "null", "7", "[]", "{}", JSON.stringify(runOf({ start: null })),
    JSON.stringify(runOf({ stop: { mono: "x" } })), JSON.stringify(runOf({ uid: 3 }))];
  for (const text of bad) assert.equal(readRun(text), null, String(text));
});

test("what an earlier edition of the page kept is taken up", () => {
  const { uid, start, splits, stop, hidden, confirmed, outcome } = runOf();
  const old = { uid, start, splits, stop, hidden, confirmed, outcome };

  assert.deepEqual(readRun(JSON.stringify(old)), runOf());
});

test("both clocks are told, and the one that is believed is sent", () => {
  const run = runOf({ stop: at(16_700, { wallShift: 3_000 }) });

  assert.deepEqual(bothMs(run, run.stop), { mono: 16_200, wall: 19_200 });
  assert.equal(rawMs(run), 16_200);
  assert.equal(rawMs({ ...run, by: "wall" }), 19_200);
  const { mono_ms, wall_ms, used } = clocksOf({ ...run, by: "wall" });
  assert.deepEqual([mono_ms, wall_ms, used], [16_200, 19_200, "wall"]);
});

test("the steady clock is read across a reload by the pages' origins", () => {
  const run = runOf({ stop: { mono: 40, wall: 36_500, origin: 30_000 } });

  assert.deepEqual(bothMs(run, run.stop), { mono: 28_540, wall: 35_000 });
  assert.equal(clocksOf(run).used, "wall");
});

test("a planned start lies its delay after the tap, on both clocks", () => {
  assert.deepEqual(later(at(500), 5_000), at(5_500));
});

test("a hold ends at its longest time to the millisecond", () => {
  const run = { ...begun("a", at(500), { limit: 30_000 }) };
  assert.equal(isOver(run, at(30_499)), false);
  assert.equal(isOver(run, at(30_512)), true);
  endBySelf(run, at(30_512));

  assert.equal(rawMs(run), 30_000);
  assert.deepEqual(doubts(run), []);
  assert.equal(isOver(run, at(40_000)), false, "it has ended");
});

test("a hold during which the phone slept ends by the other clock and is doubted", () => {
  const run = { ...begun("a", at(500), { limit: 30_000 }) };
  const woken = at(12_500, { wallShift: 50_000 });
  assert.equal(isOver(run, woken), true);
  endBySelf(run, woken);

  assert.equal(doubts(run).length, 1);
  assert.deepEqual(bothMs(run, run.seen), { mono: 12_000, wall: 30_000 });
});

test("an undone stop goes on from the same start under another id", () => {
  const run = runOf({ splits: [at(3_400)], by: "wall", confirmed: true });
  const on = reopened(run, "b");

  assert.deepEqual([on.uid, on.stop, on.by, on.confirmed], ["b", null, "", false]);
  assert.deepEqual([on.start, on.splits], [run.start, run.splits]);
  assert.equal(clocksOf(on).resumed_after_undo, true);
});

test("a run that is over by rounding ends at its limit, not a tenth of a ms before", () => {
  const start = { mono: 100, wall: 1000, origin: 0 };
  const now = { mono: 3099.9, wall: 3999.9, origin: 0 };
  const run = begun("", start, { limit: 3000 });

  assert.ok(isOver(run, now));
  endBySelf(run, now);
  assert.deepEqual(run.stop, { mono: 3100, wall: 4000, origin: 0 });
});

test("a wall clock a millisecond ahead ends a hold at its longest time all the same", () => {
  const run = begun("a", at(500), { limit: 2_000 });
  const now = at(2_499, { wallShift: 1 });

  assert.ok(isOver(run, now));
  endBySelf(run, now);
  assert.equal(rawMs(run), 2_000);
  assert.deepEqual(doubts(run), []);
});
