// @ts-check
/**
 * Repetitions in a window of time: `form[data-stopwatch][data-seconds=S]`. The first tap
 * of the pad starts, each further one counts, and the window closes itself. Then a
 * person says whether one more was under way; only that answer sends the count.
 *
 * @typedef {import("./timing.js").Run} Run
 */
import { buzz } from "./cues.js";
import { doubts } from "./doubts.js";
import { fill, part, say } from "./fields.js";
import { save } from "./kept.js";
import { momentOf } from "./press.js";
import { Stopwatch } from "./stopwatch.js";
import { isOver, since, tenths } from "./timing.js";

/** One finger cannot tap sooner again; a bounce is. */
const SOONEST_MS = 50;
/** Only the number lights up: a whole screen flashing fast can set off a seizure. */
const LIT_MS = 120;

export class Reps extends Stopwatch {
  /** @param {Event} event */
  stop(event) {
    const { run } = this;
    if (!run || run.stop) return;
    const mark = momentOf(event);
    if (since(run.start, mark) < 0) return this.cancel();
    if (isOver(run, mark)) return this.end(run, mark);
    if (since(run.splits.at(-1) ?? run.start, mark) < SOONEST_MS) return;
    run.splits.push(mark);
    save(this.key, run);
    this.count();
  }

  /** The last tap was none. */
  split() {
    const { run } = this;
    if (!run || run.stop || !run.splits.length) return;
    run.splits.pop();
    save(this.key, run);
    this.repaint();
    say(this.form, "said", `Taken back: ${run.splits.length}`);
  }

  /** Seen, and felt where that is wanted. */
  count() {
    this.repaint();
    buzz(30);
    const number = part(this.form, "count");
    number?.classList.add("lit");
    setTimeout(() => number?.classList.remove("lit"), LIT_MS);
  }

  repaint() {
    super.repaint();
    const { run } = this;
    say(this.form, "count", String(run ? run.splits.length : 0));
    if (!run || run.stop) return;
    const left = this.limit - since(run.start, momentOf());
    say(this.form, "clock", tenths(Math.min(this.limit, Math.max(0, left))));
  }

  /** A window always ends with a question. @param {Run} run */
  close(run) {
    this.ask(doubts(run));
  }

  /** @param {string[]} why */
  ask(why) {
    super.ask(why);
    const counted = this.run?.splits.length ?? 0;
    say(this.form, "confirm", `No: save ${counted}`);
    const mayBeNone = this.form.dataset.least === "0"; // then none done is a result
    part(this.form, "confirm")?.toggleAttribute("hidden", counted === 0 && !mayBeNone);
    say(this.form, "one-more", `Yes: save ${counted + 1}`);
    say(this.form, "said", `Time. ${counted} counted.`);
  }

  /** Cut short because the arms were needed: the rule scores it 0. */
  zero() {
    const tick = part(this.form, "zero-tick");
    if (tick instanceof HTMLInputElement) tick.checked = true;
    if (this.run) this.run.none = true;
    this.confirm("mono");
  }

  send() {
    const { run } = this;
    const done = run && !run.none ? run.splits.length + run.extra : 0;
    const count = run && !run.outcome ? done : "";
    fill(this.form, { count: String(count) });
    super.send();
  }

  clear() {
    super.clear();
    fill(this.form, { count: "" });
  }
}
