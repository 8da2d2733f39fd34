// @ts-check
/**
 * What waits on this phone as lists, with a way to take one back.
 *
 * @typedef {import("./bedside_store.js").Waiting} Waiting
 */
import { onSecondTap } from "./asking.js";
import * as store from "./bedside_store.js";

/** @template {keyof HTMLElementTagNameMap} T @param {T} tag @param {string} words */
function made(tag, words) {
  const element = document.createElement(tag);
  element.textContent = words;
  return element;
}

/** Day and time as this phone writes them. @param {number} at */
export function when(at) {
  const told = /** @type {const} */ (
    { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });
  return new Date(at).toLocaleString(undefined, told);
}

/** @param {Waiting} item */
export const rawWords = ({ raw, unit }) => [raw, unit].filter(Boolean).join(" ");

/** @param {Waiting} item @param {() => void} changed */
function line(item, changed) {
  const row = made("li", "");
  const back = made("button", "Take it back");
  back.type = "button";
  back.className = "btn plain small";
  back.setAttribute("aria-label", `Take it back: ${rawWords(item)}`);
  onSecondTap(back, () => store.forget(item.id).then(changed));
  const about = [item.word, item.name, when(item.at)].filter(Boolean).join(" · ");
  row.append(made("b", rawWords(item)), " ", made("span", about), " ", back);
  return row;
}

/**
 * Fills `[data-kept]` with all that waits, or `[data-kept-here]` with that of one round.
 * @param {ParentNode} within
 * @param {string} [round]
 */
export async function listKept(within, round) {
  const items = await store.waiting();
  const mine = round ? items.filter((item) => item.round === round) : items;
  const places = round ? "[data-kept-here]" : "[data-kept]";
  for (const place of within.querySelectorAll(places)) {
    const list = made("ul", "");
    list.className = "trials";
    list.append(...mine.map((item) => line(item, () => listKept(within, round))));
    place.toggleAttribute("hidden", mine.length === 0);
    place.replaceChildren(made("h2", `On this phone: ${mine.length} waiting`), list);
    if (!store.lasting()) place.append(made("p", LOSABLE));
    if (round) continue;
    const link = made("a", "Attach them to patients");
    link.href = "/bedside/attach";
    link.className = "btn ghost";
    place.append(link);
  }
}

const LOSABLE = "This phone keeps nothing beyond this page: closing it loses them.";
