// @ts-check
/**
 * Shows what waits in the outbox: how many and how old in the header of every page, a
 * list behind it, and at the test itself the raw values whose reading is to come.
 *
 * @typedef {import("./outbox_item.js").Item} Item
 */
import { underWay } from "./asking.js";
import { changed, discard, sendNow, waiting } from "./outbox.js";
import { ageWords, roundOf, valueWords } from "./outbox_item.js";
import { inMemory } from "./outbox_store.js";

const AGAIN_MS = 30_000;
const LOST = "Not on this phone's disk: leave this page open until it is sent.";
let before = 0;

/** @param {string} name */
const place = (name) => /** @type {HTMLElement | null} */ (document.querySelector(name));

/** @param {Item} item */
const age = (item) => ageWords(Date.now() - item.at);

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
  const values = here.map(valueWords).join(", ");
  const many = here.length > 1;
  const kept = `Kept on this phone: ${values}. The ${many ? "readings come" : "reading comes"} `
    + `when ${many ? "they are" : "it is"} sent.`;
  const words = !here.length ? "" : here.some(inMemory)
    ? `Not saved yet: ${values}. ${LOST}` : kept;
  if (note.textContent !== words) note.textContent = words;
  note.hidden = !words;
}

/** @param {string} tag @param {string} words @param {string} look */
function made(tag, words, look = "") {
  const element = document.createElement(tag);
  element.className = look;
  element.textContent = words;
  return element;
}

/** @param {Item} item */
function line(item) {
  const row = made("li", "");
  row.append(made("b", item.test || "A trial"), ` ${valueWords(item)}`);
  if (item.undone) row.append(" · to be voided: stopped by mistake");
  const time = new Date(item.at).toLocaleString([], { dateStyle: "short", timeStyle: "short" });
  row.append(made("p", `${time} · ${age(item)}`, "quiet"));
  if (inMemory(item)) row.append(made("p", LOST, "error"));
  if (!item.said) return row;
  row.append(made("p", `Needs you: ${item.said}`, "error"));
  if (item.round) {
    const link = made("a", "Open this test", "btn plain small");
    link.setAttribute("href", `/rounds/${item.round}`);
    row.append(link);
  }
  row.append(discardButton(item));
  return row;
}

/** Asks once more, for it exists nowhere else. @param {Item} item */
function discardButton(item) {
  const button = made("button", "Discard", "btn plain small");
  button.setAttribute("type", "button");
  button.onclick = () => {
    if (button.dataset.sure) return void discard(item);
    button.dataset.sure = "yes";
    button.textContent = "It is nowhere else. Discard it?";
  };
  return button;
}

/** @param {Item[]} items */
function showList(items) {
  const list = place("[data-waiting-list]");
  if (!list?.closest("dialog[open]")) return;
  if (list.querySelector("[data-sure]") && items.length === list.children.length) return;
  list.replaceChildren(...items.map(line));
  if (!items.length) list.append(made("li", "All sent."));
}

/** The reading of what was sent just now, unless something is being done there. */
function refresh() {
  const work = place("#work");
  const fields = [...(work?.querySelectorAll("input:not([type=hidden])") ?? [])];
  const touched = fields.some((element) => {
    const field = /** @type {HTMLInputElement} */ (element);
    return field.value !== field.defaultValue || field.checked !== field.defaultChecked;
  });
  const asked = work?.querySelector("form[data-busy], form[data-state=doubt]");
  if (!work || touched || asked || underWay()) return;
  const { htmx } = /** @type {any} */ (window);
  htmx?.ajax("GET", window.location.pathname, { target: "#work", swap: "outerHTML" });
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
  document.addEventListener("htmx:after:swap", show);
  document.addEventListener("lock:open", refresh);
  const dialog = /** @type {HTMLDialogElement | null} */ (place("dialog[data-waiting-box]"));
  place("[data-waiting]")?.addEventListener("click", () => { dialog?.showModal(); show(); });
  place("[data-send-now]")?.addEventListener("click", sendNow);
  window.addEventListener("beforeunload", (event) => { if (before && warned()) event.preventDefault(); });
  window.setInterval(show, AGAIN_MS);
  changed();
}

const warned = () => place("[data-waiting]")?.classList.contains("warn");
