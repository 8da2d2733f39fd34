// Run with: node --test tests/js
import assert from "node:assert/strict";
import { test } from "node:test";
import { Link } from "../../static/js/help_link.js";
import { settle } from "../../static/js/shared_watch.js";
import { begun, rawMs } from "../../static/js/timing.js";

const at = (ms) => ({ mono: ms, wall: 1_000 + ms, origin: 7 });
const stopped = (over = {}) => ({ ...begun("a", at(500)), stop: at(8_800), ...over });
const helped = { pressed: { start: "owner", stop: "helper" }, bound_ms: 30 };
const said = (over = {}) => ({
  trial: "a", helped, doubt: "", stop: { side: "helper", safe: false, ran_ms: 8_123.4 }, ...over,
});

test("of two stops the one that came first is kept, to the millisecond", () => {
  const run = stopped();
  settle(run, said());

  assert.equal(rawMs(run), 8_123);
  assert.deepEqual(run.helped, helped);
});

test("an own stop, another trial and silence leave the time as it was", () => {
  for (const word of [null, said({ trial: "b" }), said({ helped: null }),
    said({ stop: { side: "owner", safe: false, ran_ms: 1 } })]) {
    const run = stopped();
    settle(run, word);

    assert.equal(rawMs(run), 8_300);
  }
});

test("a stop that was undone between two phones is doubted", () => {
  const run = stopped({ undone: true });
  settle(run, said());

  assert.equal(run.helped.bound_ms, null);
  assert.match(run.unsure, /^Doubtful timing/);
});

test("of several exchanges the one with the shortest way is told", () => {
  const exchanges = [
    { t0: 0, t1: 50, t2: 50, t3: 100, scale: 5 },
    { t0: 200, t1: 215, t2: 315, t3: 330, scale: 5 }, // 30 ms under way
    { t0: 400, t1: 420, t2: 420, t3: 440, scale: 5 },
  ];

  assert.equal(Link.prototype.mine.call({ exchanges }).x, "200,215,315,330,5");
  assert.equal(Link.prototype.mine.call({ exchanges: [] }).x, "");
});
