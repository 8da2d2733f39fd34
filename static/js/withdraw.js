// @ts-check
/**
 * A trial whose stop was undone is voided on the server, now or once it answers.
 * Until then its id waits on the phone with its person's; nobody else sends it. A trial
 * that is not sent itself yet is left to whoever keeps it: event "trial:withdraw".
 */
import { person, post } from "./asking.js";
import { withStore } from "./kept.js";

const KEY = "tapeline.withdrawn";
const REASON = "Stopped by mistake";
const AGAIN_MS = 10_000;
/** Signed out, locked, too early, too many. */
const NOT_NOW = [401, 408, 423, 425, 429];

/** @typedef {{trial: string, uid: string, person: string}} Waiting */
/** @type {Waiting[]} */
let waiting = read();
let sending = false;

/** @returns {Waiting[]} */
function read() {
  try {
    const kept = JSON.parse(withStore((store) => store.getItem(KEY)) ?? "[]");
    return Array.isArray(kept) ? kept : [];
  } catch {
    return [];
  }
}

/** @param {Waiting[]} next */
function keep(next) {
  waiting = next;
  withStore((store) => store.setItem(KEY, JSON.stringify(next)));
}

/** @param {string} uid @param {string} trial the server's id, empty if not known */
export async function withdraw(uid, trial) {
  keep([...waiting, { trial, uid, person: person() }]); // first: a reload may come at once
  document.dispatchEvent(new CustomEvent("trial:withdraw", { detail: { uid, trial } }));
  return sendWithdrawn();
}

/** Why a trial that has just arrived is void, if its stop was undone meanwhile.
 * @param {string} uid */
export function withdrawnReason(uid) {
  return read().some((one) => one.uid === uid) ? REASON : "";
}

/** It is void now, or was never there. @param {string} uid */
export function withdrawnDone(uid) {
  keep(read().filter((one) => one.uid !== uid));
}

/** The server's number of a trial, where this page shows it. @param {Waiting} one */
function numberOf({ uid, trial }) {
  const saved = document.querySelector(`[data-saved="${uid}"][data-trial-id]`);
  return trial || (saved instanceof HTMLElement ? saved.dataset.trialId ?? "" : "");
}

/** One after another; what gets no answer is tried again. */
export async function sendWithdrawn() {
  const mine = waiting.find((one) => one.person === person() && numberOf(one));
  if (sending || !mine) return;
  sending = true;
  const said = await voided(numberOf(mine));
  sending = false;
  // Refused for good is done too: that trial is gone, or not this person's.
  const later = !said.status || said.status >= 500 || NOT_NOW.includes(said.status);
  const done = said.ok || !later;
  if (done) keep(waiting.filter((other) => other !== mine));
  setTimeout(sendWithdrawn, done ? 0 : AGAIN_MS);
}

/** @param {string} trial */
async function voided(trial) {
  const asked = post(`/trials/${trial}/void`, new URLSearchParams({ void_reason: REASON }));
  return asked.catch(() => ({ ok: false, status: 0 }));
}

/** Once per page. */
export function watchWithdrawn() {
  window.addEventListener("online", sendWithdrawn);
  document.addEventListener("session:renewed", sendWithdrawn);
  sendWithdrawn();
}
