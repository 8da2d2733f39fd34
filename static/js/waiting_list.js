// @ts-check
/**
 * The list behind "N waiting to send": test, raw value, time, age; what the server
 * said of one it would not take, and a way to it.
 *
 * @typedef {import("./outbox_item.js").Item} Item
 */
import { discard, resume } from "./outbox.js";
import { ageWords, valueWords } from "./outbox_item.js";
import { inMemory, put } from "./outbox_store.js";

export const LOST = "Not on this phone's disk: leave this page open until it is sent.";

/** @param {Item} item */
export const age = (item) => ageWords(Date.now() - item.at);

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
  if (item.undone) row.append(` · to be voided: ${item.undone.toLowerCase()}`);
  const time = new Date(item.at).toLocaleString([], { dateStyle: "short", timeStyle: "short" });
  row.append(made("p", `${time} · ${age(item)}`, "quiet"));
  if (inMemory(item)) row.append(made("p", LOST, "error"));
  if (!item.said) return row;
  row.append(made("p", `Needs you: ${item.said}`, "error"));
  if (item.round) {
    const link = made("a", "Open its page", "btn plain small");
    link.setAttribute("href", /^\d+$/.test(item.round) ? `/rounds/${item.round}` : `/${item.round}`);
    row.append(link);
  }
  if (item.said.includes("outside what a trial can be")) {
    const button = made("button", "I looked again: keep it", "btn plain small");
    button.setAttribute("type", "button");
    button.addEventListener("click", () => standBy(item));
    row.append(button);
  }
  row.append(discardButton(item));
  return row;
}

/** An unlikely number that somebody looked at again. @param {Item} item */
async function standBy(item) {
  await put({ ...item, said: "", fields: [...item.fields, ["range_ok", "yes"]] });
  return resume();
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
export function showList(items) {
  const list = document.querySelector("[data-waiting-list]");
  if (!list?.closest("dialog[open]")) return;
  if (list.querySelector("[data-sure]") && items.length === list.children.length) return;
  list.replaceChildren(...items.map(line));
  if (!items.length) list.append(made("li", "All sent."));
}
