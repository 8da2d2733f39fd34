// Run with: node --test tests/js
import assert from "node:assert/strict";
import { test } from "node:test";
import { between, decode, facesLeft, poseAt, saidBy } from "../../static/js/figure_data.js";

const motion = (over = {}) => ({
  points: ["head", "help"],
  steps: [0, 100, 60],
  first: [0, 100, 0, -9000],
  moves: [[50, -20, 0, 0], [10, 0, 300, 8000]],
  said: [500, 750, 1500],
  lines: [],
  ...over,
});

test("differences are put together again", () => {
  const reel = decode(motion());

  assert.deepEqual(reel.times, [0, 100, 160]);
  assert.deepEqual(reel.frames, [
    [0, 100, 0, -9000], [50, 80, 0, -9000], [60, 80, 300, -1000],
  ]);
});

test("an instant lies between the frames around it", () => {
  const times = [0, 100, 160, 400];
  const cases = [[-5, 0, 0], [0, 0, 0], [50, 0, 0.5], [100, 1, 0], [130, 1, 0.5],
    [399, 2, 239 / 240], [400, 3, 0], [9_000, 3, 0]];
  for (const [ms, frame, share] of cases) {
    assert.deepEqual(between(times, ms), [frame, share], `${ms} ms`);
  }
});

test("points move in a straight line, in centimetres", () => {
  const reel = decode(motion());

  assert.deepEqual(poseAt(reel, 50).slice(0, 2), [2.5, 9]);
  assert.deepEqual(poseAt(reel, 5_000).slice(0, 2), [6, 8]);
});

test("a hand that comes in jumps, it does not sweep through the picture", () => {
  const reel = decode(motion());

  assert.deepEqual(poseAt(reel, 159).slice(2), [0, -900]);
  assert.deepEqual(poseAt(reel, 160).slice(2), [30, -100]);
});

test("a sentence is due when its channel passes the whole number", () => {
  const reel = decode(motion());

  // From 750 at 100 ms to 1500 at 160 ms: 1000 is passed at 120 ms.
  assert.equal(saidBy(reel, 0), 0);
  assert.equal(saidBy(reel, 119), 0);
  assert.equal(saidBy(reel, 120), 1);
  assert.equal(saidBy(reel, 9_000), 1);
});

test("the person faces where the toes point", () => {
  const names = ["ankle_r", "ankle_l", "toe_r", "toe_l"];
  const pose = (toes) => [0, 0, 10, 0, toes, 0, toes + 10, 0];

  assert.equal(facesLeft(names, pose(17)), false);
  assert.equal(facesLeft(names, pose(-17)), true);
  assert.equal(facesLeft(["head"], [0, 0]), false);
});
