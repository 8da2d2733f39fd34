// @ts-check
/**
 * What was called in this set, kept in its fields: `calls`, `correct`, `errors` and the
 * `log`. A tap marks a call wrong, and adds one to the errors; "Error +1" while calls come
 * marks the last one, so that nothing is counted twice.
 */
import { countIn } from "./counter.js";

export class CallerLog {
  /** @param {HTMLElement} list @param {import("./bout.js").Bout} bout */
  constructor(list, bout) {
    this.list = list;
    this.bout = bout;
    this.open = false;
    this.marking = false;
    this.about = {};
    /** @type {string[]} */
    this.calls = [];
    /** @type {Set<number>} */
    this.wrong = new Set();
    this.errors = countIn(bout.value("errors"));
    bout.form.addEventListener("input", (event) => {
      if (/** @type {HTMLInputElement} */ (event.target).name === "errors") this.tallied();
    });
    this.read();
  }

  /** After a reload. */
  read() {
    try {
      const { calls = [], wrong = [], ...about } = JSON.parse(this.bout.value("log"));
      Object.assign(this, { calls, wrong: new Set(wrong), about });
    } catch {
      this.calls = []; // nothing was called
      this.wrong.clear();
    }
    this.paint();
  }

  /** @param {object} about what makes the same calls again */
  begin(about) {
    Object.assign(this, { about, calls: [], wrong: new Set() });
    this.write();
  }

  /** @param {string} call */
  add(call) {
    this.calls.push(call);
    this.write();
  }

  write() {
    const { calls, wrong, bout } = this;
    const log = { ...this.about, calls, wrong: [...wrong].sort((a, b) => a - b) };
    bout.put("log", JSON.stringify(log));
    bout.put("calls", String(calls.length));
    bout.put("correct", String(calls.length - wrong.size));
    this.paint();
  }

  /** The error pad was touched. */
  tallied() {
    const now = countIn(this.bout.value("errors"));
    const by = now - this.errors;
    this.errors = now;
    if (this.marking || !this.open || !by) return;
    const last = by > 0 ? this.calls.length - 1 : [...this.wrong].at(-1) ?? -1;
    if (last < 0) return;
    if (by > 0) this.wrong.add(last);
    else this.wrong.delete(last);
    this.write();
  }

  /** @param {number} place */
  toggle(place) {
    const by = this.wrong.delete(place) ? -1 : 1;
    if (by > 0) this.wrong.add(place);
    this.marking = true;
    this.bout.put("errors", String(Math.max(0, this.errors + by)));
    this.marking = false;
    this.write();
  }

  paint() {
    const { calls, list, wrong } = this;
    while (list.children.length > calls.length) list.lastElementChild?.remove();
    calls.forEach((call, place) => {
      const button = list.children[place]?.querySelector("button") ?? this.made(place);
      button.textContent = `${place + 1} · ${call}${wrong.has(place) ? ": wrong" : ""}`;
      button.setAttribute("aria-pressed", String(wrong.has(place)));
    });
  }

  /** @param {number} place */
  made(place) {
    const [line, button] = [document.createElement("li"), document.createElement("button")];
    button.type = "button";
    button.addEventListener("click", () => this.toggle(place));
    line.append(button);
    this.list.append(line);
    return button;
  }
}
