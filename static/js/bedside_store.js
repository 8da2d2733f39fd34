// @ts-check
/**
 * What was taken on the bedside sheet and waits on this phone, until it is attached to
 * a patient. No label and no name: a reminder word, a test, numbers and times. Without
 * IndexedDB it waits in memory, and `lasting()` says that closing the page loses it.
 *
 * A trial's `fields` are those of its form, as they would have been sent. `round` holds
 * the trials of one test, one word and one set-up together.
 *
 * @typedef {{v: 1, id: string, round: string, word: string, measure: string,
 *   name: string, setup: [string, string][], says: string, outcome: string,
 *   raw: string, unit: string, at: number, fields: [string, string][]}} Waiting
 * @typedef {{measure: string, round: string, word: string, setup: [string, string][],
 *   says: string, at: number}} OpenRound
 */

const NAME = "tapeline-bedside";
/** @type {{waiting: Map<string, any>, open: Map<string, any>}} */
const memory = { waiting: new Map(), open: new Map() };
/** @typedef {keyof typeof memory} Table */
const OPENING_MS = 3_000;
let lost = false;
/** @type {Promise<IDBDatabase> | null} */
let opening = null;

/** @returns {Promise<IDBDatabase>} */
function database() {
  opening ??= new Promise((done, fail) => {
    const request = indexedDB.open(NAME, 1);
    request.onupgradeneeded = () => {
      request.result.createObjectStore("waiting", { keyPath: "id" });
      request.result.createObjectStore("open", { keyPath: "measure" });
    };
    request.onsuccess = () => done(request.result);
    request.onerror = () => fail(request.error);
    setTimeout(fail, OPENING_MS, "no answer"); // some browsers never say no
  });
  return opening;
}

/**
 * One transaction, done only when it is on the disk.
 * @template T
 * @param {Table} table
 * @param {IDBTransactionMode} mode
 * @param {(store: IDBObjectStore) => IDBRequest<T>} use
 * @returns {Promise<T>}
 */
async function within(table, mode, use) {
  const open = await database();
  return new Promise((done, fail) => {
    const transaction = open.transaction(table, mode, { durability: "strict" });
    const request = use(transaction.objectStore(table));
    transaction.oncomplete = () => done(request.result);
    transaction.onabort = () => fail(transaction.error);
  });
}

/** Whether what is kept outlives this page. */
export const lasting = () => !lost;

/** @param {Table} table @param {string} key @param {any} row */
async function put(table, key, row) {
  try {
    await within(table, "readwrite", (store) => store.put(row));
    memory[table].delete(key);
  } catch {
    lost = true; // no storage, or none left
    memory[table].set(key, row);
  }
}

/** @param {Table} table @param {string} key */
async function remove(table, key) {
  memory[table].delete(key);
  await within(table, "readwrite", (store) => store.delete(key)).catch(() => {});
}

/** @param {Table} table @returns {Promise<any[]>} */
async function all(table) {
  const there = [...memory[table].values()];
  try {
    return [...(await within(table, "readonly", (store) => store.getAll())), ...there];
  } catch {
    lost = true;
    return there;
  }
}

/** @param {Waiting} item */
export const keep = (item) => put("waiting", item.id, item);

/** @param {string} id */
export const forget = (id) => remove("waiting", id);

/** Everything that waits, oldest first. @returns {Promise<Waiting[]>} */
export async function waiting() {
  return (await all("waiting")).sort((a, b) => a.at - b.at);
}

/** @param {OpenRound} round */
export const openRound = (round) => put("open", round.measure, round);

/** @param {string} measure */
export const endRound = (measure) => remove("open", measure);

/** @param {string} measure @returns {Promise<OpenRound | undefined>} */
export async function roundOf(measure) {
  return (await all("open")).find((round) => round.measure === measure);
}
