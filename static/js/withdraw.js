// @ts-check
/**
 * A trial whose stop was undone is voided on the server, now or once it answers.
 * Until then its id waits on the phone with its person's; nobody else sends it. A trial
 * that is not sent itself yet is left to whoever keeps it: event "trial:withdraw".
 */
import { withStore } from "./kept.js";

const KEY = "tapeline.withdrawn";
const REASON = "Stopped by mistake";
const AGAIN_MS = 10_000;
/** Signed out, locked, too early, too many. */
const NOT_NOW = [401, 408, 423, 425, 429];

/** @typedef {{trial: string, person: string}} Waiting */
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

const me = () => document.body.dataset.person ?? "";

/** @param {string} uid @param {string} trial the server's id, empty if not known */
export async function withdraw(uid, trial) {
  document.dispatchEvent(new CustomEvent("trial:withdraw", { detail: { uid, trial } }));
  if (!trial) return;
  keep([...waiting, { trial, person: me() }]);
  return sendWithdrawn();
}

/** One after another; what gets no answer is tried again. */
export async function sendWithdrawn() {
  const mine = waiting.find(({ person }) => person === me());
  if (sending || !mine) return;
  sending = true;
  const said = await voided(mine.trial);
  sending = false;
  // Refused for good is done too: that trial is gone, or not this person's.
  const later = !said.status || said.status >= 500 || NOT_NOW.includes(said.status);
  const done = said.ok || !later;
  if (done) keep(waiting.filter((other) => other !== mine));
  setTimeout(sendWithdrawn, done ? 0 : AGAIN_MS);
}

/** @param {string} trial */
async function voided(trial) {
  const body = new URLSearchParams({ void_reason: REASON });
  const headers = { "HX-Request": "true" };
  const asked = fetch(`/trials/${trial}/void`, { method: "POST", headers, body });
  return asked.catch(() => ({ ok: false, status: 0 }));
}

/** Once per page. */
export function watchWithdrawn() {
  window.addEventListener("online", sendWithdrawn);
  document.addEventListener("session:renewed", sendWithdrawn);
  sendWithdrawn();
}
