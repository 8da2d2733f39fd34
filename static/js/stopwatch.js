// @ts-check
/**
 * The stopwatch of a `form[data-stopwatch=KEY]`: start, one stop tap, and it sends.
 *
 * Nothing counts ticks, the page is only repainted. A time that the clocks cannot vouch
 * for is not sent but shown, "confirm or repeat". Once the server has it, it is gone.
 *
 * @typedef {import("./timing.js").Run} Run
 * @typedef {import("./timing.js").Mark} Mark
 */
import { fill, fillFrom, paint, say, show, valueOf } from "./face.js";
import { drop, load, save } from "./kept.js";
import { momentOf } from "./press.js";
import { BOUNCE_MS, doubts, elapsed, rawMs, tenths } from "./timing.js";
import { newUid } from "./uid.js";

const UNSENT = "This time is not saved yet. It is kept on this phone.";

/** The same finger bouncing. @param {Mark} last @param {Event} event */
const bounced = (last, event) => elapsed(last, momentOf(event)) < BOUNCE_MS;

export class Stopwatch {
  /** @param {HTMLFormElement} form */
  constructor(form) {
    this.form = form;
    this.key = form.dataset.stopwatch ?? "";
    /** @type {Run | null} */
    this.run = null;
    this.frame = 0;
    this.restore();
  }

  /** Takes up what this phone, or another of its tabs, has kept. */
  restore() {
    this.run = load(this.key);
    if (!this.run) this.now("idle");
    else if (this.run.stop) this.ask([UNSENT, ...doubts(this.run)]);
    else this.running();
  }

  /** @param {"idle" | "running" | "doubt" | "sending"} state */
  now(state) {
    show(this.form, state);
    this.repaint();
  }

  running() {
    this.now("running");
    this.form.dispatchEvent(new CustomEvent("stopwatch:start", { bubbles: true }));
  }

  repaint() {
    paint(this.form, this.run, momentOf());
    cancelAnimationFrame(this.frame);
    const running = this.run && !this.run.stop && this.form.isConnected;
    if (running) this.frame = requestAnimationFrame(() => this.repaint());
  }

  /** Start, or the one stop. @param {Event} event */
  tap(event) {
    if (this.run) this.stop(event);
    else if (this.form.dataset.state === "idle") this.start(event);
  }

  /** @param {Event} event */
  start(event) {
    this.run = {
      uid: valueOf(this.form, "uid") || newUid(), start: momentOf(event), splits: [],
      stop: null, hidden: false, confirmed: false, outcome: "",
    };
    save(this.key, this.run);
    this.running();
    say(this.form, "said", "Running");
  }

  /** @param {Event} event */
  split(event) {
    if (!this.run || this.run.stop) return;
    const last = this.run.splits.at(-1) ?? this.run.start;
    if (bounced(last, event)) return;
    this.run.splits.push(momentOf(event));
    save(this.key, this.run);
  }

  /** @param {Event} event */
  stop(event) {
    if (!this.run || this.run.stop || bounced(this.run.start, event)) return;
    this.freeze(this.run, event);
    const why = doubts(this.run);
    if (why.length) this.ask(why);
    else this.send();
  }

  /** @param {Run} run @param {Event} event */
  freeze(run, event) {
    run.stop = momentOf(event);
    save(this.key, run);
    this.form.dispatchEvent(new CustomEvent("stopwatch:stop", { bubbles: true }));
    say(this.form, "said", `${tenths(rawMs(run) ?? 0)} seconds`);
  }

  /** "Stop - make safe": at once, and no question asked. @param {Event} event */
  safe(event) {
    if (this.form.dataset.state === "sending") return;
    fill(this.form, { outcome: "stopped" });
    if (this.run) {
      this.run.outcome = "stopped";
      if (this.run.stop) save(this.key, this.run);
      else this.freeze(this.run, event);
    }
    this.send();
  }

  /** @param {string[]} why */
  ask(why) {
    say(this.form, "why", why.join(" "));
    this.now("doubt");
  }

  confirm() {
    if (!this.run || this.form.dataset.state !== "doubt") return;
    this.run.confirmed = true;
    save(this.key, this.run);
    this.send();
  }

  send() {
    this.now("sending");
    if (this.form.dataset.busy) return void setTimeout(() => this.send(), 100);
    if (this.run) fillFrom(this.form, this.run);
    this.form.requestSubmit();
  }

  /** Our own form was answered: saved, or still only here. @param {any} event */
  answered(event) {
    if (event.detail.ctx.sourceElement !== this.form) return;
    const status = event.detail.ctx.response?.status ?? 0;
    if (status >= 200 && status < 400) this.clear();
    else if (this.run) this.ask([UNSENT]);
    else this.now("idle");
  }

  /** Ready for another trial, under a new id. */
  clear() {
    drop(this.key);
    const empty = { raw_ms: "", splits_ms: "", clocks: "", outcome: "completed" };
    fill(this.form, { ...empty, uid: newUid() });
    this.restore();
  }
}
