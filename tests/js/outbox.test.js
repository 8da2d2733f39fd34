// Run with: node --test tests/js
import assert from "node:assert/strict";
import { test } from "node:test";
import {
  ageWords, isForeign, keptWords, makeItem, readItem, roundOf, valueWords, verdictOf, VERSION, waitMs,
} from "../../static/js/outbox_item.js";

const about = { url: "/rounds/7/trials", person: "3", test: "Five stands", at: 1000 };
const itemOf = (fields) => makeItem(Object.entries({ uid: "a".repeat(32), ...fields }), about);

const answer = (status, { ours = true, redirected = false, path = "/rounds/7/trials" } = {}) => ({
  status, redirected, url: `http://phone.test${path}`,
  headers: new Headers(ours ? { "x-request-id": "1" } : {}),
});

test("an item knows its id, person, round and version", () => {
  const item = itemOf({ raw_ms: "16200" });

  assert.deepEqual(
    [item.v, item.uid, item.person, item.round, item.tries],
    [VERSION, "a".repeat(32), "3", "7", 0],
  );
});

test("only a round's own address names a round", () => {
  const rows = [["/rounds/12", "12"], ["/rounds/12/trials", "12"], ["/rounds/12x", ""],
    ["/patients/12", ""], ["/x/rounds/12", ""], ["", ""],
    ["/patients/1/activities/T01", "patients/1/activities/T01"],
    ["/patients/1/activities/T01/sets", "patients/1/activities/T01"],
    ["/patients/1/activities", ""]];
  for (const [path, round] of rows) assert.equal(roundOf(path), round, path);
});

test("what an answer means for the item", () => {
  const rows = [[200, "sent"], [204, "sent"], [303, "sent"], [401, "sign in"],
    [400, "needs you"], [403, "needs you"], [404, "needs you"], [409, "needs you"],
    [413, "needs you"], [422, "needs you"], [408, "wait"], [423, "wait"], [425, "wait"],
    [429, "wait"], [500, "wait"], [502, "wait"], [503, "wait"], [504, "wait"]];
  for (const [status, verdict] of rows) {
    assert.equal(verdictOf(answer(status)), verdict, String(status));
  }
});

test("a trial is there only when the answer names its id", () => {
  const ours = { "x-request-id": "1" };
  const said = (headers) => verdictOf({ ...answer(200), headers: new Headers(headers) }, "abc");

  assert.equal(said({ ...ours, "tapeline-saved": "abc" }), "sent");
  assert.equal(said({ ...ours, "tapeline-saved": "abd" }), "wait");
  assert.equal(said(ours), "wait");
  assert.equal(verdictOf(answer(422), "abc"), "needs you");
  assert.equal(verdictOf(answer(401), "abc"), "sign in");
});

test("an item says when it was taken", () => {
  assert.deepEqual(itemOf({ distance: "9" }).fields.at(-1), ["taken_at", "1000"]);
});

test("an answer that is not our server's takes nothing away", () => {
  for (const status of [200, 303, 401, 404, 422]) {
    assert.equal(verdictOf(answer(status, { ours: false })), "wait", String(status));
  }
});

test("a redirect counts only to the round, never to the sign-in page", () => {
  const to = (path) => verdictOf(answer(200, { redirected: true, path }));

  assert.equal(to("/rounds/7"), "sent");
  assert.equal(to("/sign-in"), "sign in");
});

test("an item of today is read as it is", () => {
  const item = itemOf({ raw_ms: "16200" });

  assert.deepEqual(readItem(item), item);
  assert.equal(isForeign(readItem(item)), false);
});

test("three versions back are brought up to date, step by step", () => {
  const upgrades = {
    1: (item) => ({ ...item, v: 2, trail: [1] }),
    2: (item) => ({ ...item, v: 3, trail: [...item.trail, 2] }),
    3: (item) => ({ ...item, v: 4, trail: [...item.trail, 3] }),
  };
  const upgraded = readItem({ v: 1, uid: "x" }, upgrades, 4);

  assert.deepEqual(upgraded, { v: 4, uid: "x", trail: [1, 2, 3] });
});

test("what cannot be read is kept as it is and not sent", () => {
  for (const kept of [{ v: VERSION + 1, uid: "x", fields: "new" }, { uid: "x" }, { v: 0 }]) {
    const item = readItem(kept);

    assert.equal(isForeign(item), true);
    assert.ok(item.said, "waits for a person");
    assert.deepEqual({ ...item, said: undefined }, { ...kept, said: undefined });
    assert.ok(valueWords(item), "and can be listed");
  }
});

test("tries come ever less often, never tightly, never later than a minute", () => {
  assert.deepEqual([0, 1, 2, 3, 4, 5, 6, 60].map(waitMs),
    [5_000, 5_000, 10_000, 20_000, 40_000, 60_000, 60_000, 60_000]);
});

test("the raw value in words", () => {
  const rows = [
    [{ raw_ms: "16249", outcome: "completed" }, "16.2 s (raw)"],
    [{ raw_ms: "", typed: "16.2" }, "16.2 s (typed)"],
    [{ raw_ms: "30000", count: "12", counted: "stand stands" }, "12 stands"],
    [{ raw_ms: "30000", count: "1", counted: "stand stands" }, "1 stand"],
    [{ raw_ms: "30000", count: "0", counted: "stand stands" }, "0 stands"],
    [{ raw_ms: "30000", count: "12" }, "count 12"],
    [{ raw_ms: "12000", count: "", counted: "stand stands", outcome: "stopped" },
      "stopped for safety at 12.0 s"],
    [{ distance: "9.5", unit: "in" }, "9.5 in"],
    [{ distance: "", start_mark: "3", end_mark: "12.5", unit: "in" }, "3 to 12.5 in"],
    [{ count: "11" }, "count 11"],
    [{ raw_ms: "4000", outcome: "stopped" }, "stopped for safety at 4.0 s"],
    [{ outcome: "unable", reason: "pain" }, "unable"],
    [{ outcome: "not_done" }, "not done"],
  ];
  for (const [fields, words] of rows) assert.equal(valueWords(itemOf(fields)), words);
});

test("a set says what was counted, and no more", () => {
  const rows = [[{ outcome: "done", reps: "12", errors: "1", grade: "13" }, "reps 12, errors 1"],
    [{ outcome: "done", grade: "13" }, "done"], [{ outcome: "declined" }, "declined"]];
  for (const [fields, words] of rows) assert.equal(valueWords(itemOf(fields)), words);
});

test("the last of two outcomes is the button's", () => {
  const fields = [["uid", "x"], ["outcome", "completed"], ["outcome", "stopped"]];

  assert.equal(valueWords(makeItem(fields, about)), "stopped for safety");
});

test("age in words", () => {
  const minute = 60_000;
  const rows = [[-5, "just now"], [59_999, "just now"], [minute, "1 min"],
    [59 * minute, "59 min"], [60 * minute, "1 h"], [47 * 60 * minute, "47 h"],
    [48 * 60 * minute, "2 days"]];
  for (const [ms, words] of rows) assert.equal(ageWords(ms), words);
});

test("what waits is said as a set or as a reading to come", () => {
  const kept = (url, ...all) => keptWords(all.map((reps) => makeItem(
    [["uid", `a-${reps}`], ["outcome", "done"], ["reps", reps]],
    { url, person: "1", test: "Turns", at: 1 })));
  const card = "/patients/3/activities/T01/sets";
  assert.equal(kept(card, "2"), "Set kept on this phone: reps 2. It is sent when the network is back.");
  assert.match(kept(card, "2", "3"), /^2 sets kept on this phone: reps 2, reps 3\. They are sent/);
  const held = makeItem(
    [["uid", "b"], ["outcome", "done"], ["holds_ms", "1000,2500"]],
    { url: card, person: "1", test: "Holds", at: 1 });
  assert.equal(valueWords(held), "held 1.0, 2.5 s");
  assert.match(kept("/rounds/7/trials", "2"), /The reading comes when it is sent\.$/);
});
