// @ts-check
/**
 * The stopwatch of a `form[data-stopwatch=KEY]`: start, then one stop tap, and it sends.
 *
 * Time is taken from the touch; nothing counts ticks, the page is only repainted. A time
 * that the clocks cannot vouch for is shown with "confirm or repeat" instead of sent.
 * Parts say when they are seen with `data-when="idle running doubt sending"`.
 *
 * @typedef {import("./timing.js").Run} Run
 */
import { drop, isAbout, load, save } from "./kept.js";
import { onPress } from "./press.js";
import { BOUNCE_MS, clocksOf, doubts, elapsed, markAt, rawMs, splitsMs, tenths } from "./timing.js";
import { newUid } from "./uid.js";

const UNSENT = "This time is not saved yet. It is kept on this phone.";

/** @param {Event} [event] */
function mark(event) {
  const clocks = { now: performance.now(), wall: Date.now(), origin: performance.timeOrigin };
  return markAt(event?.timeStamp ?? clocks.now, clocks);
}

class Stopwatch {
  /** @param {HTMLFormElement} form */
  constructor(form) {
    this.form = form;
    this.key = form.dataset.stopwatch ?? "";
    /** @type {Run | null} */
    this.run = load(this.key);
    form.noValidate = true; // a time is never held back by another field
    this.restore();
  }

  /** @param {string} name @returns {HTMLElement | null} */
  part(name) { return this.form.querySelector(`[data-${name}]`); }

  /** @param {string} name @param {string} words */
  say(name, words) {
    const part = this.part(name);
    if (part && part.textContent !== words) part.textContent = words;
  }

  /** @param {string} name @param {string} value */
  set(name, value) {
    const input = this.form.querySelector(`input[name="${name}"]`);
    if (input instanceof HTMLInputElement) input.value = value;
  }

  /** @param {"idle" | "running" | "doubt" | "sending"} state */
  show(state) {
    this.form.dataset.state = state;
    for (const part of this.form.querySelectorAll("[data-when]")) {
      const seen = part.getAttribute("data-when")?.split(" ").includes(state);
      part.toggleAttribute("hidden", !seen);
    }
    this.paint();
  }

  paint() {
    const { run } = this;
    this.say("clock", run ? tenths(elapsed(run.start, run.stop ?? mark())) : "0.0");
    const times = run ? splitsMs(run) : [];
    this.form.querySelectorAll("[data-splits] > li").forEach((part, place) => {
      const item = /** @type {HTMLElement} */ (part);
      item.dataset.name ??= item.textContent ?? "";
      item.classList.toggle("done", place < times.length);
      item.textContent = place < times.length ? tenths(times[place]) : item.dataset.name;
    });
    if (run && !run.stop && this.form.isConnected) requestAnimationFrame(() => this.paint());
  }

  restore() {
    if (!this.run) this.show("idle");
    else if (!this.run.stop) this.show("running");
    else this.ask([UNSENT, ...doubts(this.run)]);
  }

  /** @param {Event} event */
  tap(event) {
    if (!this.run) this.start(event);
    else if (!this.run.stop && this.settled(event)) this.stop(event);
  }

  /** The last mark lies long enough back that this is a touch of its own. @param {Event} event */
  settled(event) {
    const last = this.run && (this.run.splits.at(-1) ?? this.run.start);
    return Boolean(last) && elapsed(/** @type {any} */ (last), mark(event)) >= BOUNCE_MS;
  }

  /** @param {Event} event */
  start(event) {
    const uid = /** @type {HTMLInputElement | null} */ (this.form.querySelector("input[name=uid]"));
    this.run = {
      uid: uid?.value || newUid(), start: mark(event), splits: [], stop: null,
      hidden: false, confirmed: false, outcome: "",
    };
    save(this.key, this.run);
    this.show("running");
    this.say("said", "Running");
    this.form.dispatchEvent(new CustomEvent("stopwatch:start", { bubbles: true }));
  }

  /** @param {Event} event */
  split(event) {
    if (!this.run || this.run.stop || !this.settled(event)) return;
    this.run.splits.push(mark(event));
    save(this.key, this.run);
  }

  /** @param {Event} event */
  stop(event) {
    const run = /** @type {Run} */ (this.run);
    run.stop = mark(event);
    save(this.key, run);
    this.form.dispatchEvent(new CustomEvent("stopwatch:stop", { bubbles: true }));
    this.say("said", `${tenths(rawMs(run) ?? 0)} seconds`);
    const why = doubts(run);
    if (why.length && !run.outcome) this.ask(why);
    else this.send();
  }

  /** "Stop - make safe": no question asked, whatever the clocks say. @param {Event} event */
  safe(event) {
    this.set("outcome", "stopped");
    if (!this.run || this.run.stop) return this.send();
    this.run.outcome = "stopped";
    this.stop(event);
  }

  /** @param {string[]} why */
  ask(why) {
    this.say("why", why.join(" "));
    this.show("doubt");
  }

  confirm() {
    if (!this.run) return;
    this.run.confirmed = true;
    save(this.key, this.run);
    this.send();
  }

  send() {
    const { run } = this;
    if (run) {
      this.set("raw_ms", String(rawMs(run)));
      this.set("splits_ms", JSON.stringify(splitsMs(run)));
      this.set("clocks", JSON.stringify(clocksOf(run)));
      this.set("uid", run.uid);
      if (run.outcome) this.set("outcome", run.outcome);
    }
    this.show("sending");
    this.form.requestSubmit();
  }

  /** Ready for another trial, under a new id. */
  clear() {
    drop(this.key);
    this.run = null;
    for (const name of ["raw_ms", "splits_ms", "clocks"]) this.set(name, "");
    this.set("outcome", "completed");
    this.set("uid", newUid());
    this.show("idle");
  }
}
