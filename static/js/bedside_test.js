// @ts-check
/**
 * One test of the bedside sheet: the orders are asked first; then the same trial form as
 * on a patient's page, answered by this phone.
 *
 * @typedef {import("./bedside_store.js").OpenRound} OpenRound
 */
import { listKept, rawWords } from "./bedside_kept.js";
import * as store from "./bedside_store.js";
import { wrongNumber } from "./bedside_check.js";
import { copyForPhone, nameRound, offerSame, taken } from "./bedside_trial.js";
import { drop, load } from "./kept.js";
import { newUid } from "./uid.js";

/** A round left this long ago was another person's, unless its trial still runs. */
const SAME_ROUND_MS = 600_000;

/** @param {ParentNode} within @param {string} name @returns {HTMLElement | null} */
const part = (within, name) => within.querySelector(`[data-${name}]`);

export class SheetTest {
  /** @param {HTMLElement} section */
  constructor(section) {
    this.section = section;
    this.measure = section.id;
    this.run = `round-bedside-${this.measure}`;
    this.place = /** @type {HTMLElement} */ (part(section, "place"));
    /** @type {OpenRound | null} */
    this.round = null;
    this.seen = false;
    this.place.addEventListener("submit", (event) => this.submitted(event));
    this.place.addEventListener("click", ({ target }) => {
      if (!(/** @type {any} */ (target).closest("[data-next-person]"))) return;
      if (this.runs()) this.tell("problem", "A trial is open: stop and keep it first.");
      else this.gate();
    });
  }

  /** A trial that runs or waits to be confirmed. */
  runs() {
    return Boolean(load(this.run));
  }

  /** @param {boolean} seen */
  async show(seen) {
    this.section.hidden = !seen;
    if (seen === this.seen) return; // what was begun stays
    this.seen = seen;
    if (!seen) return this.place.replaceChildren();
    const round = await store.roundOf(this.measure);
    if (!this.seen) return;
    const same = round && Date.now() - round.at < SAME_ROUND_MS;
    if (round && this.runs()) this.test(round);
    else this.gate(same ? round : null);
  }

  /** @param {string} template */
  fill(template) {
    const copy = copyForPhone(part(this.section, template));
    this.place.replaceChildren(copy);
    this.place.dispatchEvent(new CustomEvent("htmx:after:process", { bubbles: true }));
    const guide = part(this.section, "guide");
    guide?.toggleAttribute("hidden", template === "test");
  }

  /** @param {OpenRound | null} [before] the round that may go on with the same person */
  gate(before = null) {
    this.round = null;
    if (!before) store.endRound(this.measure);
    this.fill("gate");
    if (before) offerSame(part(this.place, "still"), before, () => this.test(before));
    this.place.querySelector("form")?.addEventListener("change", () => this.stops());
  }

  /** An order that is not known, or forbids it, ends it here. */
  stops() {
    const stop = this.place.querySelector("input[value=stop]:checked");
    part(this.place, "stop")?.toggleAttribute("hidden", !stop);
    return Boolean(stop);
  }

  /** @param {OpenRound} round */
  test(round) {
    this.round = round;
    this.fill("test");
    nameRound(this.place, round);
    this.place.scrollIntoView({ block: "start" }); // whose test it is stays in sight
    this.list();
  }

  list() {
    if (this.round) listKept(this.place, this.round.round);
  }

  /** @param {SubmitEvent} event */
  async submitted(event) {
    const form = /** @type {HTMLFormElement} */ (event.target);
    if (event.defaultPrevented) return; // a running stopwatch keeps it back
    event.preventDefault();
    if ("gateForm" in form.dataset) await this.begin(form);
    else if (this.round) await this.keep(form, event.submitter);
    form.dispatchEvent(new CustomEvent("htmx:finally:request", { bubbles: true }));
  }

  /** @param {HTMLFormElement} form */
  async begin(form) {
    const wrong = wrongNumber(form);
    if (wrong) return wrong.reportValidity();
    if (this.stops()) return part(this.place, "stop")?.scrollIntoView();
    const pairs = /** @type {[string, string][]} */ ([...new FormData(form)]);
    const setup = pairs.filter(([name, value]) => value
      && (name === "variant" || /^(fact|unit)-/.test(name)));
    const says = [...form.querySelectorAll("input[name^=fact-]:checked")]
      .map((input) => input.closest("label")?.textContent?.trim());
    const word = String(pairs.find(([name]) => name === "word")?.[1] ?? "").trim();
    const round = { measure: this.measure, round: newUid(), word, setup,
      says: says.join(" · "), at: Date.now() };
    await store.openRound(round);
    this.test(round);
    scrollTo(0, 0);
  }

  /** @param {HTMLFormElement} form @param {HTMLElement | null} submitter */
  async keep(form, submitter) {
    const round = /** @type {OpenRound} */ (this.round);
    const item = taken(form, submitter, round, this.section.dataset.name ?? "");
    if (typeof item === "string") return this.tell("problem", item);
    await store.keep(item);
    drop(this.run);
    await store.openRound({ ...round, at: Date.now() });
    this.test(round);
    const comes = item.outcome === "completed"
      ? " (raw). The reading comes when it is attached." : ".";
    const loses = store.lasting() ? "" : " Closing this page loses it.";
    this.tell("said-kept", `Kept on this phone: ${rawWords(item)}${comes}${loses}`);
    if (item.outcome === "stopped") this.tell("made-safe", "");
  }

  /** @param {string} name @param {string} words */
  tell(name, words) {
    const place = part(this.place, name);
    if (!place) return;
    if (words) place.textContent = words;
    place.hidden = false;
    place.focus();
  }
}
