// @ts-check
/**
 * What runs: start, at once or after a count-down, parts, the one stop. Nothing counts
 * ticks, the page is only repainted. With a limit it ends there by itself.
 * What becomes of the time is the business of stopwatch.js.
 *
 * @typedef {import("./timing.js").Run} Run
 * @typedef {import("./timing.js").Mark} Mark
 * @typedef {import("./face.js").State} State
 */
import { person } from "./asking.js";
import { countDown, makeReady, ring } from "./cues.js";
import { doubts } from "./doubts.js";
import { paint, show } from "./face.js";
import { say, valueOf } from "./fields.js";
import { delayMs } from "./hand.js";
import { loadOwn, save } from "./kept.js";
import { momentOf } from "./press.js";
import { begun, BOUNCE_MS, elapsed, endBySelf, isOver, later, rawMs, since, tenths } from "./timing.js";
import { newUid } from "./uid.js";
import { forgetLast, remember } from "./undo.js";

export const UNSENT = "This time is not saved yet. It is kept on this phone.";

export class Clockwork {
  /** @param {HTMLFormElement} form */
  constructor(form) {
    this.form = form;
    this.key = form.dataset.stopwatch ?? "";
    /** @type {Run | null} */
    this.run = null;
    this.frame = 0;
    this.callOff = () => {};
    this.forgetLast = forgetLast;
    this.restore();
  }

  /** Milliseconds after which it ends by itself; the next hold may have its own. */
  get limit() { return 1000 * Number(this.form.dataset.ceiling ?? this.form.dataset.seconds ?? 0); }

  /** Takes up what this phone, or another of its tabs, has kept. */
  restore() {
    this.run = loadOwn(this.key, person());
    if (!this.run) return this.now("idle");
    if (this.run.stop) return this.ask([UNSENT, ...doubts(this.run)]);
    if (this.run.start.origin !== performance.timeOrigin) this.run.reloaded = true;
    this.running();
  }

  /** @param {State} state */
  now(state) {
    show(this.form, state);
    this.repaint();
  }

  /** Under way, or still counting down to its start. */
  running() {
    const ahead = this.run && since(this.run.start, momentOf()) < 0;
    this.now(ahead ? "delay" : "running");
    if (!ahead) say(this.form, "said", "Running");
    this.form.querySelector("[data-pad]")?.scrollIntoView({ block: "nearest" }); // all of it
    this.form.dispatchEvent(new CustomEvent("stopwatch:start", { bubbles: true }));
  }

  repaint() {
    const [run, now] = [this.run, momentOf()];
    paint(this.form, run, now);
    cancelAnimationFrame(this.frame);
    if (!run || run.stop || !this.form.isConnected) return;
    if (isOver(run, now)) return this.end(run, now);
    const due = this.form.dataset.state === "delay" && since(run.start, now) >= 0;
    this.frame = requestAnimationFrame(() => (due ? this.running() : this.repaint()));
  }

  /** Start, or the one stop. @param {Event} event */
  tap(event) {
    if (this.run) this.stop(event);
    else if (this.form.dataset.state === "idle") this.start(event);
  }

  /** @param {Event} event */
  start(event) {
    const delay = this.form.querySelector("[data-pref=delay]") ? delayMs() : 0;
    const uid = valueOf(this.form, "uid") || newUid();
    const start = later(momentOf(event), delay);
    const { lowest = 0, highest = 0, outbox, test } = this.form.dataset;
    this.run = begun(uid, start, { limit: this.limit, delay, low: Number(lowest),
      high: Number(highest), test: outbox ?? test ?? "", person: person() });
    save(this.key, this.run);
    forgetLast();
    makeReady();
    if (delay) this.callOff = countDown(start.mono);
    if (delay) say(this.form, "said", `Starts in ${delay / 1000} seconds`);
    this.running();
  }

  /** @param {Event} event */
  split(event) {
    const { run } = this;
    if (!run || run.stop) return;
    const mark = momentOf(event);
    if (since(run.splits.at(-1) ?? run.start, mark) < BOUNCE_MS) return;
    run.splits.push(mark);
    save(this.key, run);
    say(this.form, "said", `Part ${run.splits.length} at ${tenths(elapsed(run.start, mark))} seconds`);
  }

  /** @param {Event} event */
  stop(event) {
    const { run } = this;
    if (!run || run.stop) return;
    const ran = since(run.start, momentOf(event));
    if (ran < 0) return this.cancel();
    if (ran < BOUNCE_MS) return;
    if (isOver(run, momentOf(event))) return this.end(run, momentOf(event));
    remember(this.form, run);
    this.freeze(run, momentOf(event));
    this.close(run);
  }

  /** The count-down is called off. */
  cancel() {
    this.callOff();
    this.form.dispatchEvent(new CustomEvent("stopwatch:stop", { bubbles: true }));
    this.clear();
    say(this.form, "said", "Start called off");
  }

  /** It came to its end by itself. @param {Run} run @param {Mark} now */
  end(run, now) {
    endBySelf(run, now);
    ring();
    this.freeze(run, run.stop ?? now);
    this.close(run);
  }

  /** @param {Run} run @param {Mark} stop */
  freeze(run, stop) {
    run.stop = stop;
    save(this.key, run);
    this.callOff();
    this.form.dispatchEvent(new CustomEvent("stopwatch:stop", { bubbles: true }));
    say(this.form, "said", `${tenths(rawMs(run) ?? 0)} seconds`);
  }

  // What becomes of the time:
  close(/** @type {Run} */ _run) {}
  ask(/** @type {string[]} */ _why) {}
  clear() {}
}
