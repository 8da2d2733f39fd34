// @ts-check
/**
 * A running trial on this phone's own disk: reload, back or a lock cannot lose it.
 * Holds times and ids only, never a name. Without storage the trial runs on regardless.
 *
 * @typedef {import("./timing.js").Run} Run
 */
import { readRun } from "./timing.js";

const PREFIX = "tapeline.run.";

/** @template T @param {(store: Storage) => T} use @returns {T | null} */
function withStore(use) {
  try {
    return use(window.localStorage);
  } catch {
    return null; // private mode, full disk, or storage switched off
  }
}

/** @param {string} key @returns {Run | null} */
export function load(key) {
  return readRun(withStore((store) => store.getItem(PREFIX + key)));
}

/** @param {string} key @param {Run} run */
export function save(key, run) {
  withStore((store) => store.setItem(PREFIX + key, JSON.stringify(run)));
}

/** @param {string} key */
export function drop(key) {
  withStore((store) => store.removeItem(PREFIX + key));
}

/** @param {StorageEvent} event @param {string} key */
export function isAbout(event, key) {
  return event.key === PREFIX + key;
}

/**
 * The server says that it holds the trial with this id: `<p data-saved="ID">`.
 * @param {HTMLElement} element
 */
export function forgetSaved(element) {
  withStore((store) => {
    for (const key of Object.keys(store)) {
      if (!key.startsWith(PREFIX)) continue;
      const uid = readRun(store.getItem(key))?.uid;
      if (uid === element.dataset.saved) store.removeItem(key);
    }
  });
}
