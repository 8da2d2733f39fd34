// @ts-check
/**
 * A running trial on this phone's own disk: reload, back or a lock cannot lose it.
 * Holds times and ids only, never a name. Without storage the trial runs on regardless.
 *
 * @typedef {import("./timing.js").Run} Run
 */
import { begun } from "./timing.js";

const PREFIX = "tapeline.run.";

/** @template T @param {(store: Storage) => T} use @returns {T | null} */
export function withStore(use) {
  try {
    return use(window.localStorage);
  } catch {
    return null; // private mode, full disk, or storage switched off
  }
}

/**
 * A stored run, or null for anything that is not one. What an earlier edition of this
 * page did not write yet is as in a new run.
 * @param {string | null} text
 * @returns {Run | null}
 */
export function readRun(text) {
  try {
    const run = JSON.parse(text ?? "null");
    const whole = run && isMark(run.start) && Array.isArray(run.splits)
      && run.splits.every(isMark) && (run.stop === null || isMark(run.stop));
    return whole && typeof run.uid === "string" ? { ...begun("", run.start), ...run } : null;
  } catch {
    return null;
  }
}

/** @param {any} mark */
function isMark(mark) {
  return [mark?.mono, mark?.wall, mark?.origin].every(Number.isFinite);
}

/** Where the disk refuses: lasts as long as the page. @type {Map<string, string>} */
const memory = new Map();

/** @param {string} key @returns {Run | null} */
export function load(key) {
  const name = PREFIX + key;
  const text = withStore((store) => store.getItem(name)) ?? memory.get(name);
  return readRun(text ?? null);
}

/**
 * This person's. Somebody else's clock on the same round is put aside for them, and is
 * there again when they open it.
 * @param {string} key @param {string} me
 */
export function loadOwn(key, me) {
  const run = load(key);
  if (run && run.person && me && run.person !== me) {
    save(`${key}.p${run.person}`, run);
    drop(key);
    return loadOwn(key, me);
  }
  const aside = run ? null : load(`${key}.p${me}`);
  if (!aside) return run;
  save(key, aside);
  drop(`${key}.p${me}`);
  return aside;
}

/** @param {string} key @param {Run} run */
export function save(key, run) {
  const text = JSON.stringify(run);
  const kept = withStore((store) => { store.setItem(PREFIX + key, text); return true; });
  if (!kept) memory.set(PREFIX + key, text);
}

/** @param {string} name */
function remove(name) {
  memory.delete(name);
  withStore((store) => store.removeItem(name));
}

/** @param {string} key */
export function drop(key) {
  remove(PREFIX + key);
}

/** Everything that runs or was stopped and not saved. @returns {[string, Run][]} */
export function keptRuns() {
  const names = withStore((store) => Object.keys(store)) ?? [];
  const keys = names.filter((name) => name.startsWith(PREFIX));
  return keys.map((name) => /** @type {[string, Run | null]} */ (
    [name.slice(PREFIX.length), load(name.slice(PREFIX.length))]))
    .filter(/** @returns {pair is [string, Run]} */ (pair) => pair[1] !== null);
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
  forget(element.dataset.saved ?? "");
}

/** It is kept elsewhere. @param {string} uid */
export function forget(uid) {
  const names = withStore((store) => Object.keys(store)) ?? [];
  for (const name of new Set([...names, ...memory.keys()])) {
    if (!name.startsWith(PREFIX)) continue;
    if (load(name.slice(PREFIX.length))?.uid === uid) remove(name);
  }
}
