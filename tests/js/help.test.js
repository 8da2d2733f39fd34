// Run with: node --test tests/js
import assert from "node:assert/strict";
import { test } from "node:test";
import { Link } from "../../static/js/help_link.js";
import { settle } from "../../static/js/shared_watch.js";
import { begun, elapsed, rawMs } from "../../static/js/timing.js";

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

test("an own stop, too, ends the time that the server tells", () => {
  const run = stopped({ unsure: "of the start" });
  settle(run, said({ stop: { side: "owner", safe: false, ran_ms: 12_300.2 } }));

  assert.equal(rawMs(run), 12_300);
  assert.equal(run.unsure, "");
});

test("another trial and silence leave the time as it was, and the doubt", () => {
  const none = { ...helped, bound_ms: null };
  for (const word of [null, said({ trial: "b" }), said({ helped: null }), said({ stop: null }),
    said({ stop: null, doubt: "another" })]) {
    const run = stopped({ helped: none, unsure: "not compared" });
    settle(run, word);

    assert.equal(rawMs(run), 8_300);
    assert.deepEqual([run.helped, run.unsure], [none, "not compared"]);
  }
});

test("what came to its limit by itself stays there, within the bound of the clocks", () => {
  const rows = [["owner", 29_971, 30_000], ["owner", 29_969, 29_969], ["owner", 30_020, 30_000],
    ["helper", 29_990, 29_990]];
  for (const [side, ran_ms, kept] of rows) {
    const run = stopped({ limit: 30_000, stop: at(30_500), seen: at(30_510) });
    settle(run, said({ stop: { side, safe: false, ran_ms } }));

    assert.equal(rawMs(run), kept, `${side} ${ran_ms}`);
    assert.equal(Math.round(rawMs({ ...run, by: "mono" })), kept);
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

const told = (on) => answer(200, { on, t1: 0, t2: 0, scale: 5 });
const answer = (status, body = {}) => ({
  ok: status < 400, status, headers: new Headers({ "x-request-id": "1" }), json: async () => body,
});
const page = () => Object.assign(new EventTarget(), {
  body: { dataset: {} }, hidden: false, querySelector: () => null,
});

/** A link whose questions are answered in turn; it asks when it is told to. */
function linked(...answers) {
  globalThis.document = page();
  globalThis.window = Object.assign(new EventTarget(), { setTimeout: () => 0 });
  globalThis.fetch = async () => { throw new Error("not yet"); };
  const heard = [];
  const link = new Link("/rounds/1/help", (said) => heard.push(said.on), () => {});
  globalThis.fetch = async () => answers.shift()();
  return { link, heard };
}
const settled = () => new Promise((done) => { setTimeout(done, 5); });

test("an exchange that a page slept through compares no clocks", async () => {
  const { link } = linked(() => told(true), () => {
    document.dispatchEvent(new Event("visibilitychange"));
    return told(true);
  }, () => told(true));
  await settled();
  await link.go();
  assert.equal(link.exchanges.length, 1);
  await link.go();
  assert.equal(link.exchanges.length, 0);
  await link.go();
  assert.equal(link.exchanges.length, 1);
});

test("a phone that is signed out is told so, and told again to who asks", async () => {
  const { link, heard } = linked(() => answer(401), () => told(true));
  await settled();
  await link.go();
  assert.deepEqual([link.out, link.over, heard], [true, false, []]);
  await link.go();
  assert.deepEqual([link.out, link.over, heard], [false, false, [true]]);
});

test("what is no longer this person's is over, and the press is not taken for sent", async () => {
  for (const status of [403, 404]) {
    const { link, heard } = linked(() => answer(status));
    let over = 0;
    document.addEventListener("help:over", () => { over += 1; });
    await settled();
    link.queue.push({ trial: "a", kind: "stop", mono: 5, of: 7 });
    await link.go();

    assert.deepEqual([link.over, heard, over, link.queue.length], [true, [false], 1, 1]);
  }
});

/** The stopwatch of the owner's page, as far as another phone works it. */
function stopwatch() {
  const form = { dataset: { state: "idle" }, querySelector: () => null };
  const mark = (stamp) => ({ mono: stamp, wall: Date.now(), origin: performance.timeOrigin });
  const watch = {
    key: "round-1", form, run: null, sent: 0,
    start() { watch.run = begun("own", mark(performance.now())); form.dataset.state = "running"; },
    stop({ timeStamp }) {
      if (timeStamp - watch.run.start.mono >= 250) watch.run.stop = mark(timeStamp);
    },
    safe({ timeStamp }) {
      if (watch.run) watch.run.stop ??= mark(timeStamp);
      watch.sent += 1;
    },
  };
  return watch;
}

async function owner(compared) {
  globalThis.HTMLElement ??= class {};
  globalThis.document = page();
  const { Owner } = await import("../../static/js/helping.js");
  const link = { compared, alive: true };
  return Object.assign(Object.create(Owner.prototype), {
    link, done: new Set(), told: { start: "", stop: "", clear: "" },
  });
}
const running = (mono, over = {}) => ({ trial: "a", phase: "running", stored: "", helped,
  doubt: "", start: { side: "helper", mono }, stop: null, ...over });

test("a start of unknown moment waits until the clocks are compared", async () => {
  const [me, watch] = [await owner(false), stopwatch()];
  me.follow(watch, running(null));
  assert.equal(watch.run, null);
  me.follow(watch, running(performance.now() - 8_000));
  assert.equal(Math.round((performance.now() - watch.run.start.mono) / 1_000), 8);

  const [other, never] = [await owner(true), stopwatch()];
  other.follow(never, running(null, { doubt: "not compared" }));
  assert.equal(never.run.unsure, "not compared");
});

const ended = (ran_ms, over = {}) =>
  running(null, { phase: "stopped", stop: { side: "helper", safe: false, ran_ms, ...over } });

test("what was started and stopped on the other phone before it was heard is ended here", async () => {
  const [me, watch] = [await owner(false), stopwatch()];
  me.follow(watch, ended(12_300));

  assert.ok(watch.run.stop);
  assert.ok(Math.abs(elapsed(watch.run.start, watch.run.stop) - 12_300) < 50);
  assert.ok(me.done.has("a"));
});

test("a stop that was taken for a bounce is done at the next answer", async () => {
  const [me, watch] = [await owner(true), stopwatch()];
  me.follow(watch, ended(100));
  assert.deepEqual([watch.run.stop, me.done.size], [null, 0]);
  watch.run.start.mono -= 1_000;
  me.follow(watch, ended(100));
  assert.ok(watch.run.stop);
  assert.ok(me.done.has("a"));
});

test("what was stopped on this phone does not start again", async () => {
  const [me, watch] = [await owner(true), stopwatch()];
  me.follow(watch, ended(8_000, { side: "owner" }));

  assert.equal(watch.run, null);
});

test("a stop for safety is done at once, with the moment of the press where it is known", async () => {
  for (const [ran_ms, start, ran] of [[8_000, 9_000, 8_000], [null, null, 0]]) {
    const [me, watch] = [await owner(false), stopwatch()];
    const began = start && performance.now() - start;
    me.follow(watch, { ...ended(ran_ms, { safe: true }), start: { side: "helper", mono: began } });

    assert.equal(watch.sent, 1);
    assert.ok(me.done.has("a"));
    if (ran) assert.ok(Math.abs(watch.run.stop.mono - watch.run.start.mono - ran) < 1);
    else assert.equal(watch.run, null);
  }
});

test("the screen stays lit while a second phone may start the clock", async () => {
  const asked = [];
  const lock = () => Object.assign(new EventTarget(), { release: async () => asked.push("let go") });
  const request = async () => { asked.push("lit"); return lock(); };
  Object.defineProperty(globalThis, "navigator", { value: { wakeLock: { request } }, configurable: true });
  let on = true;
  globalThis.document = Object.assign(page(), {
    querySelector: () => (on ? {} : null), querySelectorAll: () => [],
  });
  const { watchWakeLock } = await import("../../static/js/wake_lock.js");
  watchWakeLock();
  await settled();
  for (const name of ["stopwatch:start", "stopwatch:stop"]) document.dispatchEvent(new Event(name));
  await settled();
  assert.deepEqual(asked, ["lit"]);
  on = false;
  document.dispatchEvent(new Event("help:over"));
  await settled();
  assert.deepEqual(asked, ["lit", "let go"]);
});

test("a press that came after the help ended is not taken for sent", async () => {
  for (const [on, left] of [[true, 0], [false, 1]]) {
    globalThis.document = page();
    globalThis.fetch = async () => told(on);
    const link = Object.assign(Object.create(Link.prototype), {
      url: "/rounds/1/help", exchanges: [], heard: () => {},
      queue: [{ trial: "a", kind: "stop", mono: 5, of: 7 }],
    });
    await link.once();

    assert.deepEqual([link.queue.length, link.over], [left, !on]);
  }
});

test("a start that no clock here knows can be stopped; a bounce stops nothing", async () => {
  globalThis.document = { body: { dataset: {} }, querySelector: () => null };
  const { Helper } = await import("../../static/js/helper.js");
  const now = performance.now();
  const pressed = (start) => {
    const kinds = [];
    const helper = { now: { phase: "running", start }, press: (kind) => kinds.push(kind) };
    Helper.prototype.tap.call(helper, { timeStamp: now });
    return kinds;
  };

  assert.deepEqual(pressed(NaN), ["stop"]);
  assert.deepEqual(pressed(now - 5_000), ["stop"]);
  assert.deepEqual(pressed(now - 100), []);
});

test("the helper is told what is known of the link, and no more", async () => {
  globalThis.document = page();
  const { Helper } = await import("../../static/js/helper.js");
  const words = (link, phase = "idle") =>
    Helper.prototype.linked.call({ link, last: {}, now: { phase }, theirs: () => "A" });

  assert.equal(words({ out: true, alive: false }), "You are signed out here.");
  assert.equal(words({ alive: true }), "Linked to Tapeline.");
  assert.match(words({ over: true, out: true }), /^The help has ended/);
  assert.equal(words({ alive: false }), "No link to the other phone.");
  assert.equal(words({ alive: false }, "stopped"), "No link to the other phone.");
  assert.match(words({ alive: false }, "running"), /the other phone's clock still runs/);
});

test("a trial that the helper's phone saves says whether the page was out of sight", async () => {
  globalThis.document = page();
  const { Helper } = await import("../../static/js/helper.js");
  for (const [hiddenIn, hidden] of [["a", true], ["b", false], ["", false]]) {
    const clocks = { value: "" };
    const field = (name) => (name === 'input[name="clocks"]' ? clocks : null);
    const form = { dataset: {}, toggleAttribute: () => {}, querySelector: field };
    const root = { querySelector: (name) => (name === "[data-save]" ? form : null) };
    Helper.prototype.offer.call({
      root, hiddenIn, stoppedAt: -10_000, theirs: () => "A",
      now: { phase: "stopped", trial: "a", start: 5, ran: 8_000 },
      last: { waits: true, stored: "", stop: {}, helped, doubt: "" },
    });

    assert.equal(JSON.parse(clocks.value).hidden, hidden);
  }
});
