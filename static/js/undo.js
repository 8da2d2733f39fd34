// @ts-check
/**
 * "Undo stop": for ten seconds a stop tapped by mistake can be taken back. The clock
 * goes on from its first start under a new id; what was sent is voided. The ten seconds
 * outlast a reload.
 *
 * @typedef {import("./timing.js").Run} Run
 */
import { load, readRun, save } from "./kept.js";
import { notAtOnce } from "./press.js";
import { reopened } from "./timing.js";
import { newUid } from "./uid.js";
import { withdraw } from "./withdraw.js";

const SHOWN_MS = 10_000;
/** An answer this late is to no stop that anybody remembers. */
const LATEST_MS = 60_000;

/** @typedef {{key: string, run: Run, work: Node | null, at: number, until: number}} Last */
const KEPT = "tapeline.undo";
/** For the answer to the void: the page is loaded again for what it says. */
const PATIENCE_MS = 3_000;

/** @type {Last | null} */
let last = restored();

/** What was stopped on this page before it was loaded again. @returns {Last | null} */
function restored() {
  try {
    const { key, run, until } = JSON.parse(window.sessionStorage.getItem(KEPT) ?? "null");
    const left = Math.min(until - Date.now(), SHOWN_MS);
    const known = readRun(JSON.stringify(run));
    const here = window.location.pathname === `/rounds/${key.replace("round-", "")}`;
    if (!known || !here || !(left > 0)) return null;
    const at = performance.now();
    return { key, run: known, work: null, at, until: at + left };
  } catch {
    return null; // nothing there, or no storage
  }
}

/** For a reload: ids and times only. */
function keep() {
  const { key = "", run = null } = last ?? {};
  const until = Date.now() + SHOWN_MS;
  try {
    if (last) window.sessionStorage.setItem(KEPT, JSON.stringify({ key, run, until }));
    else window.sessionStorage.removeItem(KEPT);
  } catch {
    // Without storage it lasts as long as the page.
  }
}

/**
 * Before the stop: the run as it goes on, and the page it was on, with all that was
 * typed and counted there; the answer to the trial will have replaced it.
 * @param {HTMLFormElement} form @param {Run} run
 */
export function remember(form, run) {
  const work = form.closest("#work")?.cloneNode(true) ?? null;
  const at = performance.now();
  last = { key: form.dataset.stopwatch ?? "", run: { ...run }, work, at, until: 0 };
  keep();
}

/** Another trial begins, or this one was stopped for safety: the last stop stands. */
export function forgetLast() {
  last = null;
  keep();
}

/** On a page that shows another trial's stopwatch nothing is offered. */
function isHere() {
  const forms = [...document.querySelectorAll("form[data-stopwatch]")];
  const keys = forms.map((form) => /** @type {HTMLElement} */ (form).dataset.stopwatch);
  return !keys.length || keys.includes(last?.key);
}

/** Something to undo, and nothing under way that it would get into. */
function isFresh() {
  if (!last || !isHere()) return false;
  const now = performance.now();
  const kept = load(last.key);
  if (now - last.at > LATEST_MS || (kept && kept.uid !== last.run.uid)) return false;
  if (!last.until) keep();
  last.until ||= now + SHOWN_MS; // waiting for the answer costs none of the ten seconds
  return now < last.until;
}

/** Shows or hides every `[data-undo-stop]`. */
export function offerUndo() {
  const places = [...document.querySelectorAll("[data-undo-stop]")];
  const seen = places.some((place) => !place.parentElement?.closest("[hidden]"));
  const fresh = seen && isFresh();
  notAtOnce(places.filter((place) => fresh && place.hasAttribute("hidden")));
  for (const place of places) place.toggleAttribute("hidden", !fresh);
  if (fresh && last) setTimeout(offerUndo, Math.max(0, last.until - performance.now()) + 20);
}

/** @param {HTMLElement} button */
export function bindUndo(button) {
  button.addEventListener("click", undo);
  offerUndo();
}

async function undo() {
  if (!last) return;
  const { key, run, work } = last;
  last = null;
  keep();
  const saved = document.querySelector(`[data-saved="${run.uid}"]`) ?? document.body;
  const { dataset } = /** @type {HTMLElement} */ (saved);
  save(key, reopened(run, newUid()));
  const told = withdraw(run.uid, dataset.trialId ?? "");
  if (work) return putBack(work);
  await Promise.race([told, new Promise((done) => { setTimeout(done, PATIENCE_MS); })]);
  window.location.reload();
}

/** @param {Node} work */
function putBack(work) {
  document.getElementById("work")?.replaceWith(work);
  /** @type {any} */ (window).htmx?.process(work);
  // What htmx would say; without htmx nobody else does.
  work.dispatchEvent(new CustomEvent("htmx:after:process", { bubbles: true }));
}
