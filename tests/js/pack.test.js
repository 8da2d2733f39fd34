// Run with: node --test tests/js
import assert from "node:assert/strict";
import { test } from "node:test";
import { PACK_MOST_WRONG, packIsOver } from "../../static/js/pack_guard.js";
import { ROUNDS, sealed, unsealed } from "../../static/js/pack_seal.js";
import { lacking, triesWords } from "../../static/js/pack_words.js";

const PEOPLE = [{ label: "Blue 7", short: "toe-touch only", parts: [] }];
const ABOUT = { until: 9_000_000, taken: 1_000_000, stamp: "abcd" };
const FAST = 10; // rounds: what is held here does not depend on them
const SEAL = { ...ABOUT, seen: 1_000_000, wrong: 0 };

test("a pack is over at its end, when the clock was set back, and after five tries", () => {
  const rows = [
    [{}, 1_000_000, "", false],
    [{}, 8_999_999, "abcd", false],
    [{}, 9_000_000, "", true],
    [{ seen: 9_000_000 }, 8_500_000, "", true], // the clock was set back after the night
    [{ seen: 5_000_000 }, 4_500_000, "", false], // corrected by some minutes
    [{ seen: 5_000_000 }, 4_000_000, "", true], // set back during the day
    [{}, 2_000_000, "other", true],
    [{}, 2_000_000, "nobody", true],
    [{ wrong: PACK_MOST_WRONG - 1 }, 2_000_000, "", false],
    [{ wrong: PACK_MOST_WRONG }, 2_000_000, "", true],
  ];
  for (const [changed, now, stamp, over] of rows) {
    const seal = { ...SEAL, ...changed };
    assert.equal(packIsOver(seal, now, stamp), over, JSON.stringify([changed, now, stamp]));
  }
});

test("the PIN opens what it sealed, and nothing of it can be read", async () => {
  const pack = await sealed("739154", PEOPLE, ABOUT, FAST);
  const stored = Buffer.concat([pack.body.text, pack.seal.wrapped].map((b) => Buffer.from(b)));

  assert.deepEqual(await unsealed("739154", pack), PEOPLE);
  assert.equal(stored.includes("Blue"), false);
  assert.equal(JSON.stringify(pack).includes("Blue"), false);
  assert.deepEqual([pack.seal.wrong, pack.seal.seen], [0, ABOUT.taken]);
});

test("another PIN, another browser's key or a changed seal opens nothing", async () => {
  const pack = await sealed("739154", PEOPLE, ABOUT, FAST);
  const other = await sealed("739154", PEOPLE, ABOUT, FAST);
  const changed = (more) => ({ ...pack, seal: { ...pack.seal, ...more } });
  const rows = [
    ["739155", pack], ["", pack], ["7391540", pack],
    ["739154", { ...pack, key: other.key }],
    ["739154", { ...pack, body: other.body }],
    ["739154", changed({ until: ABOUT.until + 1 })],
    ["739154", changed({ taken: 1 })],
    ["739154", changed({ stamp: "efgh" })],
    ["739154", changed({ salt: other.seal.salt })],
    ["739154", changed({ rounds: FAST + 1 })],
  ];
  for (const [n, [pin, kept]] of rows.entries()) {
    assert.equal(await unsealed(pin, kept), null, String(n));
  }
  assert.deepEqual(await unsealed("739154", changed({ seen: 5, wrong: 4 })), PEOPLE);
});

test("the browser's key can be used and never read", async () => {
  const { key } = await sealed("739154", PEOPLE, ABOUT, FAST);

  assert.equal(key.extractable, false);
  assert.deepEqual(key.usages, ["sign"]);
  await assert.rejects(crypto.subtle.exportKey("raw", key));
});

test("two packs of the same people share nothing", async () => {
  const [one, two] = [await sealed("739154", PEOPLE, ABOUT, FAST),
    await sealed("739154", PEOPLE, ABOUT, FAST)];
  for (const of of [(p) => p.seal.salt, (p) => p.seal.iv, (p) => p.seal.wrapped,
    (p) => p.body.iv, (p) => p.body.text]) {
    assert.notDeepEqual(Buffer.from(of(one)), Buffer.from(of(two)));
  }
});

test("a PIN is stretched as often as OWASP says", async () => {
  assert.equal(ROUNDS, 600_000);
  assert.equal((await sealed("739154", PEOPLE, ABOUT)).seal.rounds, 600_000);
});

test("what is missing is said, and nothing where all is there", () => {
  const whole = { isSecureContext: true, crypto: { subtle: {} }, indexedDB: {},
    navigator: { serviceWorker: {} } };

  assert.equal(lacking(whole), "");
  assert.match(lacking({ ...whole, isSecureContext: false }), /not secure/);
  assert.match(lacking({ ...whole, crypto: {} }), /cannot encrypt/);
  assert.match(lacking({ ...whole, indexedDB: undefined }), /keeps nothing/);
  assert.match(lacking({ ...whole, navigator: {} }), /bedside sheet/);
});

test("tries are counted down, and the last says what became of it", () => {
  assert.match(triesWords(4), /4 tries are left/);
  assert.match(triesWords(1), /1 try is left/);
  assert.match(triesWords(0), /Five wrong PINs/);
  assert.match(triesWords(undefined), /no longer on this phone/);
});
