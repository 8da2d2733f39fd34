// @ts-check
/**
 * The outbox: a trial is on this phone's disk before it is on the network, and leaves
 * it when the server has said that it holds it. Sent one at a time, the oldest first,
 * each by its own person only; a repeat is harmless, for the server knows it by its id.
 *
 * @typedef {import("./outbox_item.js").Item} Item
 * @typedef {import("./outbox_item.js").Verdict} Verdict
 * @typedef {{verdict: Verdict, response: Response | null}} Answer
 */
import { inTurn, person, post, words } from "./asking.js";
import { isForeign, readItem, verdictOf, waitMs } from "./outbox_item.js";
import { all, put, remove } from "./outbox_store.js";
import { signInAgain } from "./session.js";
import { withdrawnDone, withdrawnReason } from "./withdraw.js";

const ANSWER_MS = 15_000;
/** Addresses of what was sent from this page, "trials/7" or "sets/7", by their ids. */
const sentAs = new Map();
let timer = 0;
/** They would not sign in now: nothing is sent until they do. */
let paused = false;

/** This person's, the oldest first. @returns {Promise<Item[]>} */
export async function waiting() {
  const items = (await all()).map((kept) => readItem(kept));
  const mine = items.filter((item) => item.person === person());
  return mine.sort((a, b) => a.at - b.at);
}

/** What waits has changed; trials of these rounds have arrived.
 * @param {string[]} [rounds] */
export function changed(rounds = []) {
  document.dispatchEvent(new CustomEvent("outbox:change", { detail: rounds }));
}

/** @param {Item} item @returns {Promise<Answer>} */
async function deliver(item) {
  /** @type {Response | null} */
  let response = null;
  /** @type {Verdict} */
  let verdict = "wait"; // with no network, or cut off: it may have arrived, or not
  try {
    response = await post(item.url, new URLSearchParams(item.fields), soon());
    verdict = verdictOf(response, item.uid);
    if (verdict === "sent") verdict = await settle(item, response.clone());
    if (verdict === "needs you" && item.undone) verdict = "sent"; // nothing to void
    if (verdict === "needs you") item.said = words(await response.clone().text());
  } catch {
    response = null;
    verdict = "wait";
  }
  item.tries += 1;
  if (verdict === "sent") await remove(item.uid);
  else await put(item);
  return { verdict, response };
}

const soon = () => AbortSignal.timeout?.(ANSWER_MS);

/** What the server holds is void at once if it was undone here meanwhile.
 * @param {Item} item @param {Response} response @returns {Promise<Verdict>} */
async function settle(item, response) {
  const [, kind, id] = /data-(trial|set)-id="(\d+)"/.exec(await response.text()) ?? [];
  const made = id ? `${kind}s/${id}` : "";
  sentAs.set(item.uid, made);
  const undone = item.undone || withdrawnReason(item.uid);
  if (!undone) return "sent";
  if (!made) return "wait"; // a locked session is not told
  const verdict = verdictOf(await voided(made, undone));
  if (verdict === "sent") withdrawnDone(item.uid);
  return verdict;
}

/** @param {string} made @param {string} reason */
function voided(made, reason) {
  const body = new URLSearchParams({ void_reason: reason });
  return post(`/${made}/void`, body, soon());
}

/** The older ones, then this one, unless one of them must wait. @param {Item} last */
export function sendAfterOthers(last) {
  return inTurn(async () => (await sendOthers(last)) ? deliver(last) : null);
}

/** Whether all went that could. @param {Item} [last] @param {string[]} [rounds] */
async function sendOthers(last, rounds = []) {
  for (const item of await waiting()) {
    if (item.said || item.uid === last?.uid) continue;
    const { verdict } = await deliver(item);
    if (verdict === "sent") rounds.push(item.round);
    if (verdict === "sign in") askToSignIn();
    if (verdict === "sign in" || verdict === "wait") return false;
  }
  return true;
}

export function askToSignIn() {
  paused = true;
  signInAgain(); // "session:renewed" when they do
}

export function resume() {
  paused = false;
  return drain();
}

/** Sends what waits, and looks again later, ever less often. */
export async function drain() {
  clearTimeout(timer);
  if (!person() || paused) return;
  /** @type {string[]} */
  const rounds = [];
  await inTurn(() => sendOthers(undefined, rounds)).catch(() => {});
  changed(rounds);
  const left = (await waiting()).filter((item) => !item.said);
  if (left.length) drainIn(waitMs(Math.max(...left.map(({ tries }) => tries))));
}

/** @param {number} ms */
export function drainIn(ms) {
  clearTimeout(timer);
  timer = window.setTimeout(drain, ms);
}

/** They ask for it: those the server refused, too. */
export async function sendNow() {
  for (const item of await waiting()) {
    if (item.said && !isForeign(item)) await put({ ...item, said: "" });
  }
  return resume();
}

/** @param {Item} item */
export async function discard(item) {
  await remove(item.uid);
  changed();
}

/** The stop of this trial, or this set, was undone: void it once it has arrived.
 * @param {string} uid @param {string} reason */
export async function undo(uid, reason) {
  await inTurn(async () => {
    const item = (await waiting()).find((one) => one.uid === uid);
    if (item) await put({ ...item, undone: reason });
    else if (sentAs.get(uid)) await voided(sentAs.get(uid), reason);
  });
  changed();
}
