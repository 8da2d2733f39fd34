// @ts-check
/**
 * A trial form of the bedside sheet -> what waits on this phone, or why it cannot.
 *
 * @typedef {import("./bedside_store.js").Waiting} Waiting
 * @typedef {import("./bedside_store.js").OpenRound} OpenRound
 */
import { isUnlikely, wrongNumber } from "./bedside_check.js";
import { countWords } from "./outbox_item.js";
import { tenths } from "./timing.js";
import { newUid } from "./uid.js";

/** @type {[string, string][]} */
const stoodBy = [["range_ok", "yes"]];
/** A bad count beside a time never costs the time. */
const COUNT = /^(yes|\d{1,4})$/;
const OUTCOMES = /** @type {Record<string, string>} */ ({
  stopped: "stopped for safety", unable: "unable", declined: "declined",
  not_done: "not done",
});

/**
 * The forms of a patient's page for use on this phone alone: nothing goes to the server.
 * @param {HTMLElement | null} template
 */
export function copyForPhone(template) {
  const { content } = /** @type {HTMLTemplateElement} */ (template);
  const copy = /** @type {DocumentFragment} */ (content.cloneNode(true));
  for (const form of copy.querySelectorAll("form")) {
    form.dataset.test = form.dataset.outbox ?? "";
    for (const { name } of [...form.attributes]) {
      if (/^(hx-|action$|data-outbox)/.test(name)) form.removeAttribute(name);
    }
  }
  for (const input of copy.querySelectorAll("input[name=uid]")) {
    /** @type {HTMLInputElement} */ (input).value = newUid();
  }
  return copy;
}

/**
 * The word and the set-up stand where a patient's page has the test and the trial.
 * @param {HTMLElement} place
 * @param {OpenRound} round
 */
export function nameRound(place, { word, says }) {
  const line = document.createElement("p");
  line.className = "quiet";
  line.textContent = [word || "no word given", says].filter(Boolean).join(" · ");
  place.querySelector("[data-stopwatch] h1, form h1")?.replaceWith(line);
}

/** Who comes next is a question: another person's orders are others.
 * @param {HTMLElement | null} place @param {OpenRound} before @param {() => void} go */
export function offerSame(place, before, go) {
  const button = place?.querySelector("button");
  if (!place || !button) return;
  place.hidden = false;
  button.textContent = `Still ${before.word || "the same person"}: go on`;
  button.addEventListener("click", go);
}

/** What a person reads of it. @param {Map<string, string>} said */
function raw(said) {
  const ms = said.get("raw_ms");
  const outcome = said.get("outcome") ?? "completed";
  if (outcome !== "completed") return [OUTCOMES[outcome] ?? outcome, ""];
  if (said.get("count")) return [countWords(said), ""]; // its time is only the window
  if (ms) return [tenths(Number(ms)), "s"];
  if (said.get("typed")) return [said.get("typed"), "s"];
  if (said.get("distance")) return [said.get("distance"), said.get("unit")];
  const marks = [said.get("start_mark"), said.get("end_mark")];
  return marks.every(Boolean) ? [marks.join(" to "), said.get("unit")] : ["", ""];
}

/** When it happened: at the start of the stopwatch, else now. @param {string} clocks */
function moment(clocks) {
  const wall = clocks ? JSON.parse(clocks).start?.wall : null;
  return Number.isFinite(wall) ? wall : Date.now();
}

/**
 * @param {HTMLFormElement} form
 * @param {HTMLElement | null} submitter
 * @param {OpenRound} round
 * @param {string} name
 * @returns {Waiting | string}
 */
export function taken(form, submitter, round, name) {
  const wrong = wrongNumber(form);
  const data = new FormData(form);
  const pressed = /** @type {HTMLButtonElement | null} */ (submitter);
  if (pressed?.name) data.append(pressed.name, pressed.value);
  const pairs = /** @type {[string, string][]} */ ([...data])
    .filter(([key, value]) => value && (!key.startsWith("input-") || COUNT.test(value)));
  const said = new Map(pairs); // the last of a name counts, as on the server
  const outcome = said.get("outcome") ?? "completed";
  const timed = said.get("raw_ms") || outcome !== "completed";
  if (wrong && !timed) return "Write a plain number, like 16.2.";
  const [value, unit] = raw(said);
  if (!value) return "No time and no number yet: nothing was kept.";
  if (["declined", "not_done", "unable"].includes(outcome)
    && !said.get("reason") && !said.get("why")) return "Say why in a few words.";
  const unlikely = isUnlikely(form, said);
  if (unlikely) return unlikely;
  const clocks = said.get("clocks") ?? "";
  const at = moment(clocks);
  const taken = JSON.stringify({ ...JSON.parse(clocks || "{}"), sheet: { at } });
  return {
    v: 1, id: said.get("uid") || newUid(), round: round.round, word: round.word,
    measure: round.measure, name, setup: round.setup, says: round.says,
    outcome, raw: value ?? "", unit: unit ?? "", at,
    fields: [...pairs.filter(([key]) => !["uid", "clocks"].includes(key)),
      ...(form.dataset.standBy ? stoodBy : []), ["clocks", taken]],
  };
}
