// @ts-check
/**
 * `[data-pack-read]` on the bedside sheet: today's people behind the PIN, without a
 * network. What was opened is only in this page, and goes again when nobody touches it,
 * when the page is hidden for a while, or when the pack may no longer be here.
 *
 * @typedef {import("./pack_store.js").PackPerson} PackPerson
 */
import { lookAtPack } from "./pack_guard.js";
import { openPack } from "./pack_store.js";
import { button, GONE, made, moment, triesWords } from "./pack_words.js";

const CHECK_MS = 5_000;
const HIDDEN_MS = 60_000;

class PackView {
  /** @param {HTMLElement} place */
  constructor(place) {
    this.place = place;
    this.form = /** @type {HTMLFormElement} */ (this.part("form"));
    this.idleMs = 60_000 * Number(place.dataset.idleMinutes);
    /** @type {PackPerson[] | null} */
    this.people = null;
    this.touched = this.hiddenAt = Date.now();
  }

  /** @param {string} name @returns {HTMLElement} */
  part(name) {
    return /** @type {HTMLElement} */ (this.place.querySelector(`[data-pack-${name}]`));
  }

  async start() {
    await this.check();
    this.form.addEventListener("submit", (event) => this.unlock(event));
    for (const name of ["pointerdown", "keydown"]) {
      document.addEventListener(name, () => { this.touched = Date.now(); }, true);
    }
    document.addEventListener("visibilitychange", () => {
      if (document.hidden) {
        this.hiddenAt = Date.now();
        return;
      }
      // A phone stops the timers of what is out of sight: nothing may have looked.
      if (Date.now() - this.hiddenAt > HIDDEN_MS) this.lock();
      this.check();
    });
    window.addEventListener("pagehide", () => this.lock());
    setInterval(() => this.check(), CHECK_MS);
  }

  /** Asked often: time passes, and another page may have wiped it. */
  async check() {
    const now = Date.now();
    const hidden = document.hidden && now - this.hiddenAt > HIDDEN_MS;
    const idle = now - this.touched > this.idleMs || now < this.touched - CHECK_MS;
    if (hidden || idle) this.lock();
    const seal = await lookAtPack().catch(() => null);
    if (!seal) return this.end();
    this.part("until").textContent = `As the record stood ${moment(seal.taken)}; opens for `
      + `nobody from ${moment(seal.until)} on. Orders may have changed since.`;
    this.place.hidden = false;
    this.form.hidden = this.people !== null;
  }

  /** There is none, or none any more: what was seen of it says so. */
  end() {
    this.lock();
    if (this.place.hidden || this.form.dataset.gone) return;
    this.form.dataset.gone = "yes";
    this.form.hidden = true;
    this.part("until").textContent = "";
    if (!this.part("wrong").textContent?.includes(GONE)) this.say(GONE);
  }

  /** @param {SubmitEvent} event */
  async unlock(event) {
    event.preventDefault();
    const pin = String(new FormData(this.form).get("pin") ?? "").trim();
    this.form.reset();
    this.say(/^\d{6,12}$/.test(pin) ? "Opening …" : "Type the 6 to 12 digits of the PIN.");
    if (/^\d{6,12}$/.test(pin)) {
      const { people, left } = await openPack(pin);
      this.people = people ?? null;
      this.say(people ? "" : triesWords(left));
      await this.check();
      if (people) this.list();
    }
    this.form.dispatchEvent(new CustomEvent("htmx:finally:request", { bubbles: true }));
  }

  /** @param {string} words */
  say(words) {
    this.part("wrong").textContent = words;
  }

  lock() {
    if (!this.people) return;
    this.people = null;
    this.part("open").replaceChildren();
    this.form.hidden = false;
  }

  list() {
    const rows = (this.people ?? []).map((person) => {
      const row = made("li", "");
      row.append(button(person.label, "btn ghost", () => this.one(person)));
      if (person.short) row.append(made("p", person.short, "caution"));
      return row;
    });
    const list = made("ul", "", "plainlist");
    list.append(...rows);
    this.show(list, button("Lock again", "btn plain", () => this.lock()));
  }

  /** @param {PackPerson} person */
  one(person) {
    const parts = person.parts.map(({ title, lines, caution }) => {
      const part = made("div", "", caution ? "caution" : "");
      const list = made("ul", "");
      list.append(...lines.map((line) => made("li", line)));
      part.append(made("h4", title), list);
      return part;
    });
    const name = made("h3", person.label);
    name.tabIndex = -1;
    this.show(name, ...parts, button("All of today", "btn ghost", () => this.list()),
      button("Lock again", "btn plain", () => this.lock()));
    name.focus();
  }

  /** @param {...Node} nodes */
  show(...nodes) {
    this.part("open").replaceChildren(...nodes);
  }
}

/** @param {HTMLElement} place */
export function packRead(place) {
  new PackView(place).start();
}
