// @ts-check
/**
 * Every `form[data-outbox=TEST]`: what it sends by htmx is kept on the phone first. Where
 * the server cannot be reached the form is ready for the next trial all the same, and
 * event "outbox:kept" tells so.
 */
import { person } from "./asking.js";
import { forget } from "./kept.js";
import {
  askToSignIn, changed, discard, drain, drainIn, resume, sendAfterOthers, undo, waiting,
} from "./outbox.js";
import { makeItem, waitMs } from "./outbox_item.js";
import { put } from "./outbox_store.js";
import { newUid } from "./uid.js";

/** A therapist does not wait longer for the next trial. */
const PATIENCE_MS = 8_000;
const NUMBER = /^[\d\s.,-]*$/;

/** Words may name somebody, so they never lie on the disk. @param {HTMLFormElement} form */
function hasFreeText(form) {
  const fields = form.querySelectorAll(
    "input:not([type=hidden], [type=radio], [type=checkbox]), textarea");
  return [...fields].some(
    (field) => !NUMBER.test(/** @type {HTMLInputElement} */ (field).value));
}

/** A time never waits for a word that was typed in a count's place.
 * @param {[string, string][]} fields @returns {[string, string][]} */
function numbersOnly(fields) {
  return fields.filter(([name, value]) => !name.startsWith("input-") || /^(yes|\d+)$/.test(value));
}

/** @param {HTMLFormElement} form @param {string} url @param {URLSearchParams} body */
async function keep(form, url, body) {
  const newest = Math.max(0, ...(await waiting()).map(({ at }) => at));
  const at = Math.max(Date.now(), newest + 1); // in order, whatever the clock was set to
  const about = { url, person: person(), test: form.dataset.outbox ?? "", at };
  const timed = Boolean(body.get("raw_ms"));
  const item = makeItem(timed ? numbersOnly([...body]) : [...body], about);
  if (await put(item, timed || !hasFreeText(form))) forget(item.uid);
  changed();
  return item;
}

/**
 * In place of the plain request.
 * @param {any} ctx @param {HTMLFormElement} form @param {string} url @param {any} request
 */
async function keepAndSend(ctx, form, url, request) {
  const item = await keep(form, url, request.body);
  const sending = sendAfterOthers(item).catch(() => null);
  const answer = await Promise.race([sending, later(PATIENCE_MS)]);
  if (answer === undefined) {
    sending.then((late) => changed(late?.verdict === "sent" ? [item.round] : []));
  }
  const status = answer?.response?.status;
  // Refused beside its field, and still there in the form.
  if (status === 422) await discard(item);
  changed();
  if (answer?.verdict === "sent" || status === 422) return answer?.response;
  ctx.kept = true;
  makeReady(form, item.uid);
  if (answer?.verdict === "needs you") return answer.response;
  if (answer?.verdict === "sign in") askToSignIn();
  drainIn(waitMs(1));
  return new Response(null, { status: 204 });
}

/** @param {number} ms @returns {Promise<undefined>} */
function later(ms) {
  return new Promise((done) => { setTimeout(done, ms, undefined); });
}

/**
 * "Stop - make safe" while another trial is still being saved: a stop of its own.
 * @param {HTMLFormElement} form
 */
export async function sendStop(form) {
  const { pathname } = new URL(form.action);
  /** @type {[string, string][]} */
  const fields = [["uid", newUid()], ["outcome", "stopped"]];
  const about = { url: pathname, person: person(), test: form.dataset.outbox ?? "", at: Date.now() };
  await put(makeItem(fields, about), true);
  changed();
  return drain();
}

/** For the next trial, under a new id. @param {HTMLFormElement} form @param {string} uid */
function makeReady(form, uid) {
  form.reset();
  const field = form.querySelector("input[name=uid]");
  if (field instanceof HTMLInputElement) field.value = newUid();
  form.dispatchEvent(new CustomEvent("outbox:kept", { bubbles: true, detail: { uid } }));
}

/** Once per page. */
export function watchOutbox() {
  document.addEventListener("htmx:config:request", (event) => {
    const { ctx } = /** @type {CustomEvent} */ (event).detail;
    if (!ctx.sourceElement.matches?.("form[data-outbox]") || !person()) return;
    ctx.fetch = (/** @type {string} */ url, /** @type {any} */ request) =>
      keepAndSend(ctx, ctx.sourceElement, url, request);
  });
  document.addEventListener("trial:withdraw", (event) => {
    const { uid, trial } = /** @type {CustomEvent} */ (event).detail;
    if (!trial) undo(uid, "Stopped by mistake"); // else it is voided where it lies
  });
  document.addEventListener("session:renewed", resume);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) drain(); });
  for (const name of ["online", "pageshow"]) window.addEventListener(name, drain);
}
