// Run with: node --test tests/js
import assert from "node:assert/strict";
import { test } from "node:test";
import { chain, drawn, randoms, script, sideOf } from "../../static/js/calls.js";
import { sizeOf, within } from "../../static/js/caller_options.js";

const SIDES = ["right front", "left front", "right back", "left back"];
const HOURS = Array.from({ length: 12 }, (_, hour) => String(hour + 1));
const usual = { kind: "directions", choices: SIDES, calls: 12, seed: 1, noRepeat: true,
  even: true, stops: 25, rule: "same", length: 3, by: 1 };
const made = (options) => script({ ...usual, ...options });
const calls = (options) => made(options).map(({ log }) => log).filter(Boolean);
const seeds = Array.from({ length: 300 }, (_, seed) => seed);

test("the generator is mulberry32", () => {
  // The first numbers of the published function for seed 1, as 32-bit integers.
  const reference = (a) => () => {
    a |= 0; a = a + 0x6D2B79F5 | 0;
    let t = Math.imul(a ^ a >>> 15, 1 | a);
    t = t + Math.imul(t ^ t >>> 7, 61 | t) ^ t;
    return ((t ^ t >>> 14) >>> 0) / 4294967296;
  };
  for (const seed of [0, 1, 42, 9999]) {
    const [ours, theirs] = [randoms(seed), reference(seed)];
    for (let i = 0; i < 50; i += 1) assert.equal(ours(), theirs());
  }
});

test("same seed, kind and options call the same; another seed does not", () => {
  assert.deepEqual(made({ seed: 7 }), made({ seed: 7 }));
  const different = seeds.filter((seed) => String(calls({ seed })) !== String(calls({ seed: 7 })));
  assert.ok(different.length > 290);
});

test("these calls are called on every phone", () => {
  assert.deepEqual(calls({ kind: "clock", choices: HOURS, seed: 7, calls: 8 }),
    ["1", "2", "12", "10", "6", "5", "9", "7"]);
});

test("never the same twice running, unless it may be", () => {
  const twice = (list) => list.some((call, place) => call === list[place + 1]);
  for (const seed of seeds) assert.ok(!twice(calls({ seed })), `seed ${seed}`);
  assert.ok(seeds.some((seed) => twice(calls({ seed, noRepeat: false }))));
  assert.deepEqual(calls({ choices: ["go"], calls: 3 }), ["go", "go", "go"]);
});

test("left and right are equal within one, for any number and any choices", () => {
  const sets = [["directions", SIDES], ["clock", HOURS], ["directions", ["left", "right"]],
    ["directions", ["front", "right", "back", "left"]],
    ["directions", ["left front", "left back", "right"]]];
  for (const [kind, choices] of sets) {
    for (const seed of seeds) {
      const count = 1 + (seed % 23);
      const list = calls({ kind, choices, seed, calls: count });
      const ahead = list.reduce((sum, call) => sum + sideOf(kind, call), 0);
      assert.equal(list.length, count);
      assert.ok(Math.abs(ahead) <= 1, `${kind} ${choices} ${seed}: ${list}`);
    }
  }
});

test("with one side only, evenness asks for nothing", () => {
  assert.equal(calls({ choices: ["right front", "right back"], calls: 9 }).length, 9);
});

test("hours lie on their side of the ring", () => {
  assert.deepEqual(HOURS.map((hour) => sideOf("clock", hour)),
    [1, 1, 1, 1, 1, 0, -1, -1, -1, -1, -1, 0]);
});

test("the share of stops is exact", () => {
  for (const [stops, share] of [[0, 0], [25, 3], [50, 6], [90, 11]]) {
    const list = calls({ kind: "go_stop", choices: ["left", "right"], stops });
    assert.equal(list.filter((call) => call === "stop").length, share);
    assert.equal(list.length, 12);
  }
});

test("a rule that changes is said half-way and is no call", () => {
  const cues = made({ kind: "go_stop", choices: ["left", "right"], rule: "changes" });

  assert.equal(cues[6].said, "Opposite rule now");
  assert.equal(cues.filter(({ log }) => log).length, 12);
});

test("a sequence is said item by item, then now; the whole is the call", () => {
  const cues = made({ kind: "sequence", choices: ["front", "right", "back"], length: 3, calls: 2 });

  assert.deepEqual(cues.map(({ shown }) => shown === "Now"),
    [false, false, false, true, false, false, false, true]);
  assert.equal(cues[3].log, cues.slice(0, 3).map(({ shown }) => shown).join(", "));
  assert.equal(cues[3].paces, 4);
});

test("counting down starts between 50 and 100, and knows the right answers", () => {
  const starts = seeds.map((seed) => Number(made({ kind: "subtract", seed, by: 7 })[0].shown));
  assert.equal(Math.min(...starts), 50);
  assert.equal(Math.max(...starts), 100);
  assert.deepEqual(chain(50, 7), [50, 43, 36, 29, 22, 15, 8, 1]);
  assert.deepEqual(chain(3, 1), [3, 2, 1]);
});

test("numbers are spoken as what they are", () => {
  const said = (kind, choices) => made({ kind, choices, calls: 1, even: false })[0].said;
  assert.equal(said("clock", ["3"]), "3 o'clock");
  assert.equal(said("marks", ["12"]), "12 inches");
  assert.equal(said("marks", ["12 in"]), "12 in");
});

test("no choices, no calls, and no endless search", () => {
  assert.deepEqual(drawn({ ...usual, choices: [] }, 5, randoms(1)), []);
});

test("what is typed stays within its limits; what is no number is as usual", () => {
  const rows = [["2,5", 2.5], ["0", 1], ["99", 10], ["", 2], ["fast", 2]];
  for (const [text, is] of rows) assert.equal(within(text, 1, 10, 2), is, text);
});

test("longer words are shown smaller", () => {
  const rows = [["12", "short"], ["right front", "no"], ["backward", "yes"], ["diagonally", "very"]];
  for (const [words, size] of rows) assert.equal(sizeOf(words), size, words);
});
