// @ts-check
/**
 * Whether a day pack may still lie on this phone; else it is wiped, its key first.
 *
 * The service worker runs this file too (the server writes it before the worker's own
 * text), so it imports nothing, and its names are not used there for anything else.
 *
 * `seen` is the latest time that this phone's clock ever showed here, so that setting it
 * back revives nothing. `stamp` says of which sign-in and PIN the pack is: every page of
 * the server tells whose would be right now.
 *
 * @typedef {{v: 1, until: number, taken: number, stamp: string, seen: number,
 *   wrong: number, rounds: number, salt: Uint8Array, iv: Uint8Array,
 *   wrapped: ArrayBuffer}} Seal
 * @typedef {IDBObjectStore} Rows
 */
export const PACK_NAME = "tapeline.pack";
export const PACK_MOST_WRONG = 5;
/** Clocks are corrected by seconds; further back somebody has set them. */
const PACK_BACK_MS = 600_000;

/**
 * @param {Seal} seal @param {number} now
 * @param {string} [stamp] whose pack would be right here; empty where nobody knows
 */
export function packIsOver(seal, now, stamp = "") {
  return Math.max(now, seal.seen) >= seal.until
    || now < seal.seen - PACK_BACK_MS
    || seal.wrong >= PACK_MOST_WRONG
    || (stamp !== "" && stamp !== seal.stamp);
}

/** Null where there is none, unless it is to be made. @param {boolean} make
 * @returns {Promise<IDBDatabase | null>} */
function packDatabase(make) {
  return new Promise((done, failed) => {
    const ask = indexedDB.open(PACK_NAME, 1);
    ask.onupgradeneeded = () => {
      if (make) ask.result.createObjectStore("pack");
      else ask.transaction?.abort(); // looking for one makes none
    };
    ask.onsuccess = () => {
      ask.result.onversionchange = () => ask.result.close();
      done(ask.result);
    };
    ask.onerror = (event) => {
      event.preventDefault();
      if (make) failed(ask.error);
      else done(null);
    };
  });
}

/**
 * One transaction over the pack's rows, done when it is on the disk: what `act` gave.
 * @template T
 * @param {(rows: Rows, give: (found: T) => void) => void} act
 * @param {boolean} [make]
 * @returns {Promise<T | null>}
 */
export async function withPack(act, make = false) {
  const database = await packDatabase(make);
  if (!database) return null;
  try {
    return await new Promise((done, failed) => {
      const deed = database.transaction("pack", "readwrite", { durability: "strict" });
      /** @type {T | null} */
      let found = null;
      deed.oncomplete = () => done(found);
      deed.onabort = () => failed(deed.error);
      act(deed.objectStore("pack"), (value) => { found = value; });
    });
  } finally {
    database.close(); // else nothing could delete it
  }
}

/** The key first: without it the rest is noise. @param {Rows} rows */
function wipePack(rows) {
  rows.delete("key");
  rows.clear();
}

/** Wipes it, whatever its state. */
export async function forgetPack() {
  await withPack(wipePack).catch(() => {});
  await new Promise((done) => {
    const ask = indexedDB.deleteDatabase(PACK_NAME);
    ask.onsuccess = ask.onerror = ask.onblocked = done;
  });
}

/**
 * The seal of the pack that may still be here; one that may not is wiped.
 * @param {string} [stamp] @param {number} [now]
 * @returns {Promise<Seal | null>}
 */
export async function lookAtPack(stamp = "", now = Date.now()) {
  let there = false;
  const seal = await withPack((rows, /** @type {(seal: Seal) => void} */ give) => {
    there = true;
    const ask = rows.get("seal");
    ask.onsuccess = () => {
      const found = ask.result;
      if (!found || packIsOver(found, now, stamp)) return wipePack(rows);
      found.seen = Math.max(found.seen, now);
      rows.put(found, "seal");
      give(found);
    };
  });
  if (there && !seal) await forgetPack();
  return seal;
}
