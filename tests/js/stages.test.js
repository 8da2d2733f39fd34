// Stances in order while nothing can be sent: where the person is.
import assert from "node:assert/strict";
import { test } from "node:test";

import { isHeld, standOf } from "../../static/js/stages.js";

const AHEAD = ["side by side", "semi-tandem", "tandem"].map(
  (label) => ({ label, show: "", hold: 10 }));

/** What waits on the phone of one trial. */
function item(fields, undone = "") {
  return { fields: Object.entries({ outcome: "completed", ...fields }), undone };
}

test("each hold opens the next stance", () => {
  const held = item({ raw_ms: "10000" });
  assert.deepEqual(standOf(AHEAD, []), { behind: 0, missed: false, over: false });
  assert.deepEqual(standOf(AHEAD, [held]), { behind: 1, missed: false, over: false });
  assert.deepEqual(
    standOf(AHEAD, [held, held, held]), { behind: 3, missed: false, over: true });
});

test("a stance not held, or not taken up, ends it", () => {
  for (const fields of [{ raw_ms: "9900" }, { typed: "3" }, { outcome: "unable" }]) {
    const { missed, over } = standOf(AHEAD, [item({ raw_ms: "10000" }), item(fields)]);
    assert.deepEqual([missed, over], [true, true]);
  }
});

test("practice, a stop and an undone stop take no stance", () => {
  const none = [
    item({ raw_ms: "4000", practice: "yes" }), item({ outcome: "stopped" }),
    item({ raw_ms: "4000" }, "Stopped by mistake"),
  ];
  assert.deepEqual(standOf(AHEAD, none), { behind: 0, missed: false, over: false });
});

test("held is judged to a hundredth, as the server does", () => {
  assert.equal(isHeld(item({ raw_ms: "9995" }), AHEAD[0]), true);
  assert.equal(isHeld(item({ raw_ms: "9994" }), AHEAD[0]), false);
});
