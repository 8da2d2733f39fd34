// @ts-check
/**
 * `[data-attach]`: one card for each round that waits on this phone. The server's answer
 * names what it holds (`[data-attached]`), and only then does the phone forget it.
 *
 * @typedef {import("./bedside_store.js").Waiting} Waiting
 */
import { onSecondTap } from "./asking.js";
import { rawWords, when } from "./bedside_kept.js";
import * as store from "./bedside_store.js";
import { load } from "./kept.js";
import { showWaits } from "./waits.js";

/** As the server has it. */
const OLDEST_MS = 7 * 86_400_000;

/** @param {HTMLElement} place */
export async function attach(place) {
  document.querySelector("[data-no-script]")?.remove();
  const items = await store.waiting();
  const rounds = [...new Set(items.map((item) => item.round))]
    .map((round) => items.filter((item) => item.round === round));
  const template = /** @type {HTMLTemplateElement} */ (place.querySelector("template"));
  for (const round of rounds) {
    const many = rounds.filter((r) => day(r[0]) === day(round[0])).length > 1;
    const card = /** @type {HTMLElement} */ (
      template.content.firstElementChild?.cloneNode(true));
    fill(card, round, many);
    place.append(card);
  }
  /** @type {any} */ (window).htmx?.process(place);
  document.querySelector("[data-none]")?.toggleAttribute("hidden", rounds.length > 0);
}

/** @param {Waiting} item */
const day = (item) => new Date(item.at).toDateString();

/** Local time as the field writes it. @param {number} at */
function localTime(at) {
  const away = new Date(at).getTimezoneOffset() * 60_000;
  return new Date(at - away).toISOString().slice(0, 16);
}

/** @param {HTMLElement} card @param {Waiting[]} round @param {boolean} many */
function fill(card, round, many) {
  const [first] = round;
  const put = (/** @type {string} */ name, /** @type {string} */ words) => {
    const there = card.querySelector(`[data-${name}]`);
    if (there) there.textContent = words;
  };
  put("title", `${first.word || "No word given"}: ${first.name}`);
  put("says", `${round.map(rawWords).join(", ")} · ${when(first.at)}`);
  put("setup", first.says);
  const form = /** @type {HTMLFormElement} */ (card.querySelector("form"));
  const old = Date.now() - first.at > OLDEST_MS;
  form.hidden = old;
  card.querySelector("[data-old]")?.toggleAttribute("hidden", !old);
  hide(form, round);
  again(form, many);
  const discard = /** @type {HTMLElement} */ (card.querySelector("[data-discard]"));
  onSecondTap(discard, async () => {
    for (const item of round) await store.forget(item.id);
    const open = await store.roundOf(first.measure);
    if (open?.round === first.round) await store.endRound(first.measure);
    card.remove();
  });
}

/** What is sent beside what is chosen. @param {HTMLFormElement} form @param {Waiting[]} round */
function hide(form, round) {
  const [first] = round;
  const trials = round.map(({ id, fields }) => ({ id, fields }));
  const values = { round: first.round, measure: first.measure,
    trials: JSON.stringify(trials), at: new Date(first.at).toISOString() };
  for (const [name, value] of Object.entries(values)) {
    const input = form.querySelector(`input[name=${name}]`);
    /** @type {HTMLInputElement} */ (input).value = value;
  }
  for (const [name, value] of first.setup) {
    const input = document.createElement("input");
    Object.assign(input, { type: "hidden", name, value });
    form.append(input);
  }
  const time = /** @type {HTMLInputElement} */ (
    form.querySelector("[data-when-done]"));
  time.value = localTime(first.at);
  time.addEventListener("change", () => {
    const at = /** @type {HTMLInputElement} */ (form.querySelector("input[name=at]"));
    if (time.value) at.value = new Date(time.value).toISOString();
  });
}

/** Two of one day are easily swapped. @param {HTMLFormElement} form @param {boolean} many */
function again(form, many) {
  const line = /** @type {HTMLElement} */ (form.querySelector("[data-again]"));
  line.hidden = !many;
  const box = line.querySelector("input");
  if (box) box.required = many;
  form.addEventListener("change", (event) => {
    const changed = /** @type {HTMLElement} */ (event.target);
    if (box && changed.matches("select")) box.checked = false; // another patient
  });
}

/** The server holds these. @param {HTMLElement} element */
export async function forgetAttached(element) {
  for (const id of element.dataset.attached?.split(" ") ?? []) await store.forget(id);
  const test = element.dataset.test ?? "";
  const open = await store.roundOf(test);
  const same = open && open.round === element.dataset.round;
  if (same && !load(`round-bedside-${test}`)) await store.endRound(test);
  for (const line of document.querySelectorAll("[data-waits]")) showWaits(line);
}
