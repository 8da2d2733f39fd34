// @ts-check
/**
 * Shows what waits in the outbox: how many and how old in the header of every page, a
 * list behind it, and at the test itself the raw values whose reading is to come.
 *
 * @typedef {import("./outbox_item.js").Item} Item
 */
import { underWay } from "./asking.js";
import { changed, sendNow, waiting } from "./outbox.js";
import { keptWords, roundOf, valueWords } from "./outbox_item.js";
import { inMemory } from "./outbox_store.js";
import { age, LOST, showList } from "./waiting_list.js";

const AGAIN_MS = 30_000;
let before = 0;

/** @param {string} name */
const place = (name) => /** @type {HTMLElement | null} */ (document.querySelector(name));

/** @param {Item[]} items */
function showCount(items) {
  const button = place("[data-waiting]");
  if (!button) return;
  const [first] = items;
  const refused = items.filter(({ said }) => said).length;
  button.hidden = !first;
  const needs = refused ? ` · ${refused} needs you` : "";
  button.textContent = first ? `${items.length} waiting to send · ${age(first)}${needs}` : "";
  button.classList.toggle("warn", items.some(inMemory));
  const said = place("[data-waiting-said]");
  if (said && before && !first) said.textContent = "All sent";
  if (said && first && !before) said.textContent = `${items.length} waiting to send`;
  before = items.length;
}

/** Where the test is on the screen. @param {Item[]} items */
function showHere(items) {
  const note = place("[data-kept]");
  if (!note || underWay()) return;
  const here = items.filter(({ round }) => round === roundOf(window.location.pathname));
  const words = !here.length ? "" : here.some(inMemory)
    ? `Not saved yet: ${here.map(valueWords).join(", ")}. ${LOST}` : keptWords(here);
  if (note.textContent !== words) note.textContent = words;
  note.hidden = !words;
  const form = place("[data-uncounted]");
  if (!form) return;
  form.hidden = !here.length;
  form.textContent = `${here.length} ${here.length > 1 ? "wait" : "waits"} to be sent: not yet counted here.`;
}

let refreshing = 0;

/** The reading of what was sent just now, as soon as nothing is being done there. */
function refresh() {
  clearTimeout(refreshing);
  const { htmx } = /** @type {any} */ (window);
  if (isInUse()) refreshing = window.setTimeout(refresh, 1_000);
  else htmx?.ajax("GET", window.location.pathname, { target: "#work", swap: "outerHTML" });
}

function isInUse() {
  const work = place("#work");
  const fields = [...(work?.querySelectorAll("input[name]:not([type=hidden])") ?? [])];
  const touched = fields.some((element) => {
    const field = /** @type {HTMLInputElement} */ (element);
    return field.value !== field.defaultValue || field.checked !== field.defaultChecked;
  });
  const asked = work?.querySelector("form[data-busy], form[data-state=doubt]");
  return touched || Boolean(asked) || underWay();
}

async function show() {
  const items = await waiting();
  showCount(items);
  showHere(items);
  showList(items);
  return items;
}

/** Once per page. */
export function watchWaiting() {
  if (!place("[data-waiting]")) return;
  document.addEventListener("outbox:change", async (event) => {
    await show();
    const rounds = /** @type {CustomEvent} */ (event).detail;
    if (rounds.includes(roundOf(window.location.pathname))) refresh();
  });
  document.addEventListener("htmx:after:swap", () => {
    clearTimeout(refreshing); // what came is as new
    show();
  });
  document.addEventListener("lock:open", () => { if (place("#work")) refresh(); });
  const dialog = /** @type {HTMLDialogElement | null} */ (place("dialog[data-waiting-box]"));
  place("[data-waiting]")?.addEventListener("click", () => { dialog?.showModal(); show(); });
  place("[data-send-now]")?.addEventListener("click", sendNow);
  window.addEventListener("beforeunload", (event) => { if (before && warned()) event.preventDefault(); });
  window.setInterval(show, AGAIN_MS);
  changed();
}

const warned = () => place("[data-waiting]")?.classList.contains("warn");
