// @ts-check
/**
 * A day pack on this phone: kept, and opened with its PIN, a few tries and no more.
 *
 * @typedef {import("./pack_seal.js").Pack} Pack
 * @typedef {{title: string, lines: string[], caution: boolean}} Part
 * @typedef {{label: string, short: string, parts: Part[]}} PackPerson
 * @typedef {{people?: PackPerson[], left?: number}} Opened
 */
import { forgetPack, lookAtPack, PACK_MOST_WRONG, withPack } from "./pack_guard.js";
import { unsealed } from "./pack_seal.js";

/** In place of the one before. @param {Pack} pack */
export async function keepPack({ key, seal, body }) {
  await forgetPack();
  await withPack((rows) => {
    rows.put(body, "body");
    rows.put(seal, "seal");
    rows.put(key, "key");
  }, true);
}

/**
 * Counted before it is tried, so that a page closed in the middle gains no try.
 * @returns {Promise<Pack | null>}
 */
function countedTry() {
  return withPack((rows, /** @type {(pack: Pack) => void} */ give) => {
    const asked = ["key", "seal", "body"].map((name) => rows.get(name));
    asked[2].onsuccess = () => {
      const [key, seal, body] = asked.map((ask) => ask.result);
      if (!key || !seal || !body || seal.wrong >= PACK_MOST_WRONG) return;
      seal.wrong += 1;
      rows.put(seal, "seal");
      give({ key, seal, body });
    };
  });
}

function rightAfterAll() {
  return withPack((rows) => {
    const ask = rows.get("seal");
    ask.onsuccess = () => {
      if (ask.result) rows.put({ ...ask.result, wrong: 0 }, "seal");
    };
  });
}

/**
 * The people in it, or how many tries are left. Nothing of both: there is none any more.
 * @param {string} pin @returns {Promise<Opened>}
 */
export async function openPack(pin) {
  if (!(await lookAtPack())) return {};
  const pack = await countedTry();
  if (!pack) return {};
  const people = await unsealed(pin, pack);
  if (people) {
    await rightAfterAll();
    return { people };
  }
  const left = PACK_MOST_WRONG - pack.seal.wrong;
  if (!left) await forgetPack();
  return { left };
}
