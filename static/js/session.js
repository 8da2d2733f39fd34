// @ts-check
/**
 * A session that ended or locked never costs what is on the page: whatever is asked of
 * the server waits for the passphrase, in a dialog over the untouched page, and is then
 * asked again. "session:renewed" tells the rest of the page that it goes on.
 */
import { person, underWay } from "./asking.js";
import { withStore } from "./kept.js";
import { passphrase } from "./passphrase.js";

/** @type {Promise<boolean> | null} */
let asked = null;

/**
 * Everything htmx asks. A form of the outbox has its own way and its own patience.
 * @param {string} url @param {any} request
 */
export async function ask(url, request) {
  const response = await fetch(url, request);
  const open = response.status === 401 ? await signInAgain()
    : response.status === 423 && await unlocked();
  const signal = AbortSignal.timeout?.(15_000); // the first one has run out by now
  return open ? fetch(url, { ...request, signal }) : response;
}

/** Resolves when lock.js has let its person in again. @returns {Promise<boolean>} */
function unlocked() {
  document.dispatchEvent(new Event("session:locked"));
  return new Promise((done) => {
    document.addEventListener("session:renewed", () => done(true), { once: true });
  });
}

/** Whether they signed in; never in the middle of a trial. @returns {Promise<boolean>} */
export function signInAgain() {
  forgetPack();
  asked ??= calm().then(open).finally(() => { asked = null; });
  return asked;
}

async function calm() {
  while (underWay()) {
    await new Promise((done) => setTimeout(done, 500));
  }
}

/** @returns {Promise<boolean>} */
function open() {
  const dialog = /** @type {HTMLDialogElement | null} */ (
    document.querySelector("dialog[data-sign-in]"));
  const form = dialog?.querySelector("form");
  if (!dialog || !form) return Promise.resolve(false);
  dialog.showModal();
  /** @type {any} */ (form.querySelector("input[type=password]"))?.focus();
  return new Promise((done) => {
    const finish = (/** @type {boolean} */ ok) => { dialog.close(); done(ok); };
    form.onsubmit = (event) => { event.preventDefault(); submit(form, finish); };
    dialog.oncancel = () => done(false);
    const later = /** @type {HTMLElement} */ (dialog.querySelector("[data-later]"));
    later.onclick = () => finish(false);
  });
}

/** @param {HTMLFormElement} form @param {(ok: boolean) => void} finish */
async function submit(form, finish) {
  const wrong = await passphrase(form, "/sign-in");
  if (wrong) return;
  if ((await state())?.status === 401) return window.location.assign("/caseload");
  finish(true);
  renewed();
}

export function renewed() {
  document.dispatchEvent(new Event("session:renewed"));
}

/** The server's word on this page's person; no answer is no reason to doubt. */
function state() {
  const headers = { "Tapeline-Person": person() };
  return fetch("/session", { headers }).catch(() => null);
}

const LAST = "tapeline.person";

/** A day pack goes with its sign-in, also where no network tells the server. */
const forgetPack = () => window.indexedDB?.deleteDatabase("tapeline.pack");

/** Who this browser belongs to now, by id; nobody after a sign-out.
 * @param {string} id */
export function belongsTo(id) {
  if (!id) forgetPack();
  withStore((store) => store.setItem(LAST, id));
}

/** A page from the browser's own cache shows nothing until the session is known. */
async function comeBack() {
  document.body.classList.add("unsure");
  const answer = await state();
  const last = withStore((store) => store.getItem(LAST)) ?? person();
  // No network to ask, and they have signed out.
  if (!answer && last !== person()) return window.location.replace("/sign-in");
  if (answer?.status === 401 && !(await signInAgain())) return window.location.reload();
  document.body.classList.remove("unsure");
  if (answer?.headers.get("x-tapeline-locked")) {
    document.dispatchEvent(new Event("session:locked"));
  }
}

/** Once per page. */
export function watchSession() {
  if (!person()) return;
  belongsTo(person());
  document.addEventListener("htmx:config:request", (event) => {
    const { ctx } = /** @type {CustomEvent} */ (event).detail;
    ctx.request.headers["Tapeline-Person"] = person();
    ctx.fetch ||= ask;
  });
  window.addEventListener("pageshow", (event) => { if (event.persisted) comeBack(); });
}
