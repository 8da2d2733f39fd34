// @ts-check
/**
 * The stopwatch of a `form[data-stopwatch=KEY]`: the time that ran is sent at once.
 *
 * A time that the clocks cannot vouch for is not sent but shown, "confirm or repeat".
 * Once the server has it, it is gone from here.
 *
 * @typedef {import("./timing.js").Run} Run
 */
import { Clockwork, UNSENT } from "./clockwork.js";
import { doubts } from "./doubts.js";
import { askBoth, fillFrom } from "./face.js";
import { fill } from "./fields.js";
import { drop, save } from "./kept.js";
import { momentOf } from "./press.js";
import { sendStop } from "./outbox_form.js";
import { showFirstSteps } from "./safe.js";
import { newUid } from "./uid.js";
import { forgetLast } from "./undo.js";

export class Stopwatch extends Clockwork {
  /** @param {Run} run */
  close(run) {
    const why = doubts(run);
    if (why.length) this.ask(why);
    else this.send();
  }

  /** "Stop - make safe": at once, and no question asked. @param {Event} event */
  safe(event) {
    forgetLast();
    showFirstSteps();
    if (this.form.dataset.state === "sending") return void sendStop(this.form);
    fill(this.form, { outcome: "stopped" });
    if (this.run) {
      this.run.outcome = "stopped";
      if (this.run.stop) save(this.key, this.run);
      else this.freeze(this.run, momentOf(event));
    }
    this.send();
  }

  /** @param {string[]} why */
  ask(why) {
    if (this.run) askBoth(this.form, this.run, why);
    this.now("doubt");
  }

  /** @param {"mono" | "wall"} by the clock that is believed */
  confirm(by, extra = 0) {
    if (!this.run || this.form.dataset.state !== "doubt") return;
    Object.assign(this.run, { confirmed: true, by, extra });
    save(this.key, this.run);
    this.send();
  }

  send() {
    this.now("sending");
    if (this.form.dataset.busy) return void setTimeout(() => this.send(), 100);
    if (this.run) fillFrom(this.form, this.run);
    this.form.requestSubmit();
  }

  /** Our own form was answered: saved, kept to be sent, or not. @param {any} event */
  answered(event) {
    const { ctx } = event.detail;
    if (ctx.sourceElement !== this.form) return;
    const status = ctx.response?.status ?? 0;
    if (ctx.kept || (status >= 200 && status < 400)) return this.clear();
    if (!this.run) return this.now("idle");
    save(this.key, this.run); // the outbox has let go of it
    this.ask([UNSENT]);
  }

  /** Ready for another trial, under a new id. */
  clear() {
    drop(this.key);
    const empty = {
      raw_ms: "", splits_ms: "", clocks: "", range_ok: "", outcome: "completed",
    };
    fill(this.form, { ...empty, uid: newUid() });
    this.restore();
  }
}
