// @ts-check
/**
 * One set in progress in a `form[data-activity-set=KEY]`: its numbers lie on this phone
 * until the set is saved, so that a reload loses none, and all that runs for it stops at
 * "Stop - make safe", when it is sent, and what sounds when the page goes. With an empty
 * key nothing is kept.
 *
 * @typedef {import("./timing.js").Mark} Mark
 * @typedef {import("./timing.js").Run & {values?: Record<string, string>,
 *   live?: Record<string, Mark>}} BoutRun
 * @typedef {{halt: (event?: Event) => void, sounds: boolean}} Running
 */
import { person } from "./asking.js";
import { fill, valueOf } from "./fields.js";
import { drop, loadOwn, save } from "./kept.js";
import { momentOf } from "./press.js";
import { begun } from "./timing.js";
import { newUid } from "./uid.js";

const KEPT = ["reps", "steps", "steps_to_recover", "passes", "hazards", "errors", "calls",
  "correct", "distance", "holds_ms", "time_ms", "log"];
const RED = "[data-safe], [data-stop-set]";
/** A set begun ten hours ago was never done. */
const FORGOTTEN_MS = 36_000_000;

export class Bout {
  /** @param {HTMLFormElement} form */
  constructor(form) {
    this.form = form;
    this.key = form.dataset.activitySet ?? "";
    /** @type {Map<string, Running>} */
    this.running = new Map();
    /** @type {BoutRun | null} */
    this.run = this.key ? loadOwn(this.key, person()) : null;
    if (this.run && Date.now() - this.run.start.wall > FORGOTTEN_MS) this.forget();
    if (this.run) this.restore(this.run);
    this.listen();
  }

  /** @param {BoutRun} run */
  restore(run) {
    if (valueOf(this.form, "uid")) fill(this.form, { uid: run.uid });
    for (const [name, value] of Object.entries(run.values ?? {})) {
      if (!this.value(name)) fill(this.form, { [name]: value });
    }
  }

  /** @param {string} name */
  value(name) {
    return valueOf(this.form, name);
  }

  /** @param {string} name @param {string} value */
  put(name, value) {
    const input = this.form.querySelector(`input[name="${name}"]`);
    if (!(input instanceof HTMLInputElement)) return;
    input.value = value;
    input.dispatchEvent(new Event("input", { bubbles: true }));
  }

  /** @returns {BoutRun} */
  begun() {
    const uid = () => this.value("uid") || newUid();
    this.run ??= begun(uid(), momentOf(), { person: person() });
    return this.run;
  }

  keep() {
    const run = this.begun();
    run.values = Object.fromEntries(
      KEPT.map((name) => [name, this.value(name)]).filter(([, value]) => value));
    if (this.key) save(this.key, run);
  }

  /** The start of what runs under this name. @param {string} name */
  live(name) {
    return this.run?.live?.[name] ?? null;
  }

  /** @param {string} name @param {Mark | null} mark */
  setLive(name, mark) {
    const { [name]: _, ...others } = this.begun().live ?? {};
    this.begun().live = mark ? { ...others, [name]: mark } : others;
    this.keep();
  }

  /** A tool runs: the screen stays on. @param {string} name @param {Running} running */
  runs(name, running) {
    if (!this.running.size) this.tell("start");
    this.running.set(name, running);
  }

  /** @param {string} name */
  rests(name) {
    if (this.running.delete(name) && !this.running.size) this.tell("stop");
  }

  /** @param {string} what */
  tell(what) {
    document.dispatchEvent(new CustomEvent(`stopwatch:${what}`)); // the form may be gone
  }

  /** @param {Event} [event] @param {boolean} [all] or only what sounds */
  halt(event, all = true) {
    for (const { halt, sounds } of [...this.running.values()]) if (all || sounds) halt(event);
  }

  listen() {
    const { form } = this;
    const gone = new AbortController();
    const how = { capture: true, signal: gone.signal };
    const here = (/** @type {(event: Event) => void} */ act) => (/** @type {Event} */ event) => {
      if (form.isConnected) return act(event);
      this.halt(event);
      gone.abort();
    };
    const red = here((event) => {
      if (![undefined, " ", "Enter"].includes(/** @type {any} */ (event).key)) return;
      if (/** @type {Element} */ (event.target).closest?.(RED)) this.halt(event);
    });
    for (const name of ["pointerdown", "keydown", "click"]) {
      document.addEventListener(name, red, how);
    }
    window.addEventListener("pagehide", here((event) => this.halt(event, false)), how);
    document.addEventListener("htmx:after:swap", here(() => {}), how);
    form.addEventListener("submit", (event) => this.halt(event), { capture: true });
    form.addEventListener("input", (event) => {
      if (KEPT.includes(/** @type {HTMLInputElement} */ (event.target).name)) this.keep();
    });
    form.addEventListener("outbox:kept", () => this.clear());
    form.addEventListener("htmx:after:request", (event) => {
      const { ctx } = /** @type {CustomEvent} */ (event).detail;
      const status = ctx.response?.status ?? 0;
      if (ctx.sourceElement === form && status >= 200 && status < 400) this.forget();
    });
  }

  forget() {
    this.run = null;
    if (this.key) drop(this.key);
  }

  /** It is kept elsewhere: the form is ready for the next set. */
  clear() {
    fill(this.form, Object.fromEntries(KEPT.map((name) => [name, ""])));
    this.forget();
    this.form.dispatchEvent(new Event("bout:clear"));
  }
}
