// Run with: node --test tests/js
import assert from "node:assert/strict";
import { test } from "node:test";
import { countIn } from "../../static/js/counter.js";
import { stepped } from "../../static/js/stepper.js";
import { fillUid, newUid } from "../../static/js/uid.js";

const steps = (rows) => {
  for (const [value, step, limits, next] of rows) {
    assert.equal(stepped(value, step, limits), next, `${value} by ${step}`);
  }
};

test("steps show no floating point dust", () => {
  steps([["17.5", "0.5", {}, "18"], ["17", "0.5", {}, "17.5"], ["0.2", "0.1", {}, "0.3"],
    ["9.25", "0.5", {}, "9.75"], ["24", "-1", {}, "23"], ["100", "10", {}, "110"]]);
});

test("steps stay inside the limits", () => {
  steps([["29.8", "0.5", { high: "30" }, "30"], ["0.3", "-0.5", { low: "0" }, "0"],
    ["0", "-1", { low: "-5" }, "-1"]]);
});

test("an empty input starts at its start", () => {
  steps([["", "0.5", { start: "17.5", low: "0" }, "17.5"], [" ", "-1", { low: "4" }, "4"],
    ["", "1", {}, "0"]]);
});

test("a typed decimal comma is a point, other words are left alone", () => {
  steps([["17,5", "0.5", {}, "18"], ["seventeen", "0.5", {}, "seventeen"],
    ["1e3", "1", {}, "1e3"], ["1.2.3", "1", {}, "1.2.3"]]);
});

test("a count is digits only", () => {
  const counts = [["12", 12], [" 3 ", 3], ["", 0], ["-1", 0], ["1.5", 0], ["x", 0]];
  for (const [text, count] of counts) assert.equal(countIn(text), count, text);
});

test("ids are 32 hex digits and differ", () => {
  const ids = new Set(Array.from({ length: 200 }, newUid));

  assert.equal(ids.size, 200);
  for (const id of ids) assert.match(id, /^[0-9a-f]{32}$/);
});

test("an id given by the server is kept", () => {
  const given = { value: "f".repeat(32) };
  const empty = { value: "" };
  fillUid(given);
  fillUid(empty);

  assert.equal(given.value, "f".repeat(32));
  assert.match(empty.value, /^[0-9a-f]{32}$/);
});
