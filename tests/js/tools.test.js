// Run with: node --test tests/js
import assert from "node:assert/strict";
import { test } from "node:test";
import { beatAt, bpmIn, dueBeats } from "../../static/js/beat_tool.js";
import { wholeSessions } from "../../static/js/dose_box.js";
import { holdDoubt, holdsIn, holdWords, padWords } from "../../static/js/hold_tool.js";
import { leftOf, leftWords } from "../../static/js/rest_tool.js";

test("a beat is 40 to 140 a minute in steps of two", () => {
  const rows = [["60", 60], ["61", 62], ["39", 40], ["300", 140], ["", 60], ["x", 60]];
  for (const [text, bpm] of rows) assert.equal(bpmIn(text), bpm, text);
});

test("beats follow from the first one, however late somebody looks", () => {
  assert.equal(beatAt(1000, 500, 999), -1);
  assert.equal(beatAt(1000, 500, 1000), 0);
  assert.equal(beatAt(1000, 500, 61_400), 120);
  assert.deepEqual(dueBeats(1000, 500, 0, 2100), [1000, 1500, 2000]);
  assert.deepEqual(dueBeats(1000, 500, 3, 2100), []);
  assert.deepEqual(dueBeats(1000, 500, 3, 2600), [2500]);
});

test("the fastest beat jumps less than three times a second", () => {
  assert.ok(bpmIn("9999") / 60 < 3);
});

test("holds are whole milliseconds; other words are none", () => {
  assert.deepEqual(holdsIn("5000,7250"), [5000, 7250]);
  assert.deepEqual(holdsIn(""), []);
  assert.deepEqual(holdsIn("5000,x,-1"), [5000]);
});

test("the last and the best are said", () => {
  assert.equal(holdWords([], false), "None yet");
  assert.equal(holdWords([7250, 5049], false), "2: last 5.0 s, best 7.3 s");
  assert.equal(holdWords([61_000], true), "61.0 s in all");
});

const mark = (mono, wall, origin = 0) => ({ mono, wall, origin });
const run = (start, stop) => ({ start, stop, seen: null, limit: 0 });

test("a hold over a reload, or with clocks that disagree, is to be checked", () => {
  assert.equal(holdDoubt(run(mark(0, 0), mark(5000, 5100))), "");
  assert.match(holdDoubt(run(mark(0, 0), mark(10, 5000, 4990))), /loaded again/);
  assert.match(holdDoubt(run(mark(0, 0), mark(1000, 61_000))), /1\.0 s and 61\.0 s/);
});

test("what is left of a rest is whole seconds, never below none", () => {
  const rows = [[0, 60], [1, 60], [1000, 59], [59_999, 1], [60_000, 0], [90_000, 0]];
  for (const [ran, left] of rows) assert.equal(leftOf(60, ran), left, String(ran));
  assert.equal(leftWords(90), "1:30");
  assert.equal(leftWords(5), "0:05");
});

test("only whole sessions are shown, the latest first", () => {
  assert.equal(wholeSessions(250, [100, 100, 100]), 200);
  assert.equal(wholeSessions(100, [300, 60]), 60);
  assert.equal(wholeSessions(300, [100, 100, 100]), 0, "all fit: as it is");
  assert.equal(wholeSessions(50, [100]), 0, "not even one fits");
});

test("a running pad is not mistaken for the red button", () => {
  assert.equal(padWords(true, false), "Hold over");
  assert.equal(padWords(true, true), "Stop the clock");
  assert.equal(padWords(false, true), "Start");
});
