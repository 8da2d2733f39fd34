// @ts-check
/**
 * Where unsent trials lie: this phone's IndexedDB, or the page's memory where there is
 * none. What lies in memory is lost with the page, and `inMemory` says how many do.
 *
 * @typedef {import("./outbox_item.js").Item} Item
 */

const DATABASE = "tapeline.outbox";
const ITEMS = "items";
/** Some phones leave a request unanswered for ever. */
const PATIENCE_MS = 2_000;

/** @type {Map<string, Item>} */
const memory = new Map();
/** @type {Promise<IDBDatabase> | null} */
let opened = null;

/** @returns {Promise<IDBDatabase>} */
function open() {
  return new Promise((done, failed) => {
    const ask = window.indexedDB.open(DATABASE, 1);
    ask.onupgradeneeded = () => ask.result.createObjectStore(ITEMS, { keyPath: "uid" });
    ask.onerror = () => failed(ask.error);
    ask.onblocked = failed;
    ask.onsuccess = () => {
      ask.result.onversionchange = () => ask.result.close();
      ask.result.onclose = () => { opened = null; };
      done(ask.result);
    };
  });
}

/**
 * One transaction, done when it is on the disk.
 * @template T
 * @param {IDBTransactionMode} mode
 * @param {(items: IDBObjectStore) => IDBRequest<T>} act
 * @returns {Promise<T>}
 */
async function onDisk(mode, act) {
  opened ??= open();
  const database = await opened;
  return new Promise((done, failed) => {
    const deed = database.transaction(ITEMS, mode, { durability: "strict" });
    const asked = act(deed.objectStore(ITEMS));
    deed.oncomplete = () => done(asked.result);
    deed.onabort = () => failed(deed.error);
  });
}

/** @template T @param {Promise<T>} work @returns {Promise<T>} */
function inTime(work) {
  return new Promise((done, failed) => {
    const timer = setTimeout(failed, PATIENCE_MS, new Error("no answer from the disk"));
    work.then(done, failed).finally(() => clearTimeout(timer));
  });
}

/** @template T @param {IDBTransactionMode} mode
 * @param {(items: IDBObjectStore) => IDBRequest<T>} act */
function attempt(mode, act) {
  const work = inTime(onDisk(mode, act));
  work.catch(() => { opened = null; }); // the next one opens afresh
  return work;
}

/**
 * Keeps an item and says whether it is on the disk. Free text stays off it.
 * @param {Item} item @param {boolean} mayLieOnDisk
 */
export async function put(item, mayLieOnDisk = !memory.has(item.uid)) {
  try {
    if (!mayLieOnDisk) throw new Error("not for the disk");
    await attempt("readwrite", (items) => items.put(item));
    memory.delete(item.uid);
    return true;
  } catch {
    memory.set(item.uid, item);
    return false;
  }
}

/** @returns {Promise<any[]>} */
export async function all() {
  const held = [...memory.values()];
  try {
    const kept = await attempt("readonly", (items) => items.getAll());
    return [...kept.filter((item) => !memory.has(item.uid)), ...held];
  } catch {
    return held;
  }
}

/** @param {string} uid */
export async function remove(uid) {
  memory.delete(uid);
  try {
    await attempt("readwrite", (items) => items.delete(uid));
  } catch {
    // It is sent again, and the server knows it by its id.
  }
}

/** @param {Item} item */
export function inMemory(item) {
  return memory.has(item.uid);
}
