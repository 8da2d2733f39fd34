// @ts-check
/**
 * A page of practice: its answers are kept on this phone before they are sent, like a
 * trial of a round, and "Stop - make safe" of a trial without a clock. A new trial is
 * drawn by the server, which has its key: without a network that is said.
 *
 * @typedef {import("./outbox_item.js").Item} Item
 */
import { person } from "./asking.js";
import { fill, part } from "./fields.js";
import {
  askToSignIn, changed, discard, drainIn, sendAfterOthers, waiting,
} from "./outbox.js";
import { makeItem, waitMs } from "./outbox_item.js";
import { inMemory, put } from "./outbox_store.js";
import { momentOf, onPress } from "./press.js";

/** @param {HTMLElement} root a figure, or what stands for it on a page without one */
export function practicePage(root) {
  const place = root.closest("#work, main") ?? document;
  const form = /** @type {HTMLFormElement | null} */ (place.querySelector("form[data-practice]"));
  if (form && person()) bindForm(form, root);
  if (place.querySelector("form[data-begin]")) watchNetwork(root);
}

/** Says that nothing can begin as long as that is so. @param {HTMLElement} note */
function watchNetwork(note) {
  const show = () => { note.hidden = navigator.onLine; };
  for (const name of ["online", "offline"]) window.addEventListener(name, show);
  document.addEventListener("htmx:error", () => { note.hidden = false; });
  show();
}

/** @param {HTMLFormElement} form @param {HTMLElement} root */
function bindForm(form, root) {
  form.noValidate = true; // the server says what is missing, and where
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    send(form);
  });
  form.addEventListener("practice:stopped", (event) => {
    stopped(form, /** @type {CustomEvent} */ (event).detail);
  });
  if (form.dataset.stopwatch) return; // its stopwatch has the red button
  let began = NaN;
  root.addEventListener("figure:began", (event) => {
    began = /** @type {CustomEvent} */ (event).detail.origin;
  });
  onPress(part(form, "safe"), (event) => {
    if (!Number.isNaN(began)) stopped(form, momentOf(event).mono - began);
  });
}

/** A practised stop: there is nothing to time, count or measure any more.
 * @param {HTMLFormElement} form @param {number} at ms since the figure's start */
function stopped(form, at) {
  fill(form, { made_safe: "yes", safe_ms: String(Math.round(at)) });
  for (const seen of form.querySelectorAll("[data-unless-safe]")) seen.setAttribute("hidden", "");
  for (const seen of form.querySelectorAll("[data-if-safe]")) seen.removeAttribute("hidden");
}

/** @param {HTMLFormElement} form @returns {Item} */
function itemOf(form) {
  const fields = /** @type {[string, string][]} */ ([...new FormData(form)]);
  const said = new Map(fields);
  // Two more for the list of what waits; the server does not ask for them.
  if (said.get("made_safe") === "yes") fields.push(["outcome", "stopped"]);
  const took = Number(said.get("stop_ms")) - Number(said.get("start_ms"));
  if (said.get("stop_ms")) fields.push(["raw_ms", String(took)]);
  const { pathname } = new URL(form.action);
  const about = {
    url: pathname, person: person(), test: form.dataset.practice ?? "", at: Date.now(),
  };
  const item = makeItem([["uid", form.dataset.uid ?? ""], ...fields], about);
  return { ...item, round: pathname.replace(/^\/|\/attempt$/g, "") };
}

/** @param {HTMLFormElement} form */
async function send(form) {
  const item = itemOf(form);
  await put(item, true);
  changed();
  const answer = await sendAfterOthers(item).catch(() => null);
  if (answer?.verdict === "sent") return go(item);
  if (answer?.response?.status === 422) {
    await discard(item);
    return form.submit(); // the server's page has each sentence beside its field
  }
  changed();
  // As after any answer to a form: a second tap may go out again (busy.js).
  form.dispatchEvent(new CustomEvent("htmx:finally:request", { bubbles: true }));
  showKept(form, item);
  if (answer?.verdict === "sign in") askToSignIn();
  if (answer?.verdict !== "needs you") drainIn(waitMs(1));
}

/** To the key. @param {Item} item */
function go(item) {
  window.location.assign(`/${item.round}`);
}

/** @param {HTMLFormElement} form @param {Item} item */
function showKept(form, item) {
  const kept = form.parentElement?.querySelector("[data-practice-kept]");
  if (!(kept instanceof HTMLElement)) return;
  form.hidden = true;
  kept.hidden = false;
  kept.querySelector("[data-in-memory]")?.toggleAttribute("hidden", !inMemory(item));
  kept.focus();
  document.addEventListener("outbox:change", async () => {
    const left = (await waiting()).find(({ uid }) => uid === item.uid);
    if (!left) go(item);
    const why = kept.querySelector("[data-why-not]");
    if (why) why.textContent = left?.said ? `It was not taken: ${left.said}` : "";
  });
  changed();
}
