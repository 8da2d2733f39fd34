// @ts-check
/**
 * The helper's page (`[data-helper]`): start, stop and the red button of somebody else's
 * stopwatch. What shows is what the server says; a press shows at once and is told with
 * the moment of the touch, late if need be.
 *
 * @typedef {import("./help_link.js").Said} Said
 */
import { fill, part, say, see } from "./fields.js";
import { Link, OUT } from "./help_link.js";
import { momentOf, onPress } from "./press.js";
import { BOUNCE_MS, tenths } from "./timing.js";
import { newUid } from "./uid.js";

/** So long the owner's phone has to answer before this one offers to save. */
const SAVE_AFTER_MS = 6_000;
const LOST = { running: "No link - the other phone's clock still runs.", else: "No link to the other phone." };

export class Helper {
  /** @param {HTMLFormElement} root not a form, but it has parts like one */
  constructor(root) {
    this.root = root;
    /** @type {Said | null} */
    this.last = null;
    /** What shows; times by this phone's clock. */
    this.now = { phase: "linking", trial: "", start: NaN, ran: NaN };
    this.stoppedAt = 0;
    this.saved = "";
    this.hiddenIn = ""; // the trial in which this page was out of sight
    const url = root.dataset.helper ?? "";
    this.link = new Link(url, (said) => this.heard(said), () => this.show());
    onPress(part(root, "pad"), (event) => this.tap(event));
    onPress(part(root, "safe"), (event) => this.press("safe", event));
    document.addEventListener("visibilitychange", () => {
      if (this.now.phase === "running") this.hiddenIn = this.now.trial;
    });
    setInterval(() => this.show(), 500);
    this.paint();
  }

  /** @param {Event} event */
  tap(event) {
    const { phase, start } = this.now;
    if (phase === "idle" && this.link.alive) this.press("start", event);
    // A start that this clock does not know can be stopped all the same.
    const bounced = momentOf(event).mono - start <= BOUNCE_MS;
    if (phase === "running" && !bounced) this.press("stop", event);
  }

  /** @param {"start" | "stop" | "safe"} kind @param {Event} event */
  press(kind, event) {
    const { mono, origin } = momentOf(event);
    const fresh = kind === "start" || !this.now.trial || this.now.phase === "idle";
    const trial = fresh ? newUid() : this.now.trial;
    if (kind === "start") this.now = { phase: "running", trial, start: mono, ran: NaN };
    else Object.assign(this.now, { phase: "stopped", trial, ran: fresh ? NaN : mono - this.now.start });
    if (kind !== "start") this.stoppedAt = performance.now();
    this.link.tell({ trial, kind, mono, of: origin });
    this.show();
  }

  /** @param {Said} said */
  heard(said) {
    const told = this.link.queue.length === 0;
    if (told && this.saved && said.on && said.phase === "idle") window.location.reload(); // next trial
    this.saved = said.stored || "";
    if (!said.on) {
      this.now = { ...this.now, phase: "over", ran: NaN };
      return this.show();
    }
    if (!told) return; // what was pressed here is newer
    this.last = said;
    const { phase, trial, start, stop } = said;
    if (phase === "stopped" && this.now.phase !== "stopped") this.stoppedAt = performance.now();
    this.now = { phase, trial, start: start?.mono ?? NaN, ran: stop?.ran_ms ?? NaN };
    if (phase === "stopped" && said.stored && said.waits) this.now.phase = "idle";
    this.show();
  }

  show() {
    const { link, now } = this;
    const wait = now.phase === "idle" && !(link.alive && link.compared);
    see(this.root, wait ? "linking" : now.phase);
    say(this.root, "link", this.linked());
    say(this.root, "said", this.words());
    say(this.root, "pending", link.over ? "Done" : "Wait for the other phone");
    this.root.toggleAttribute("data-over", link.over);
    this.offer();
  }

  linked() {
    const { link, last, now } = this;
    if (link.over) return "The help has ended: the test is done, or one of you ended it.";
    if (link.out) return OUT;
    const lost = now.phase === "running" ? LOST.running : LOST.else;
    if (!link.alive) return last || link.failures > 1 ? lost : "Looking for the other phone …";
    if (last?.waits && !last.stored) return `Sent. ${this.theirs()} has not answered yet.`;
    return "Linked to Tapeline."; // nothing tells whether the other phone listens
  }

  /** Nobody is named to a locked phone. */
  theirs() {
    return this.last?.owner ? `${this.last.owner}'s phone` : "The other phone";
  }

  words() {
    const { now, last, link } = this;
    if (link.over && link.queue.length) return `Not sent: the help has ended. Tell ${last?.owner || "who began it"}.`;
    if (link.queue.length && now.phase === "stopped") return "Your stop waits to be sent, with its time.";
    if (last?.stored) return `Saved: ${last.stored}.`;
    if (last?.late) return last.late;
    if (now.phase === "running") return "Running";
    if (now.phase !== "stopped") return "";
    if (last?.stop?.safe) return "Stopped for safety.";
    return Number.isNaN(now.ran) ? "Stopped" : `Stopped at ${tenths(now.ran)} s.`;
  }

  /** The owner's phone is silent: this one may save what it has. */
  offer() {
    const { last, now } = this;
    const form = /** @type {HTMLFormElement | null} */ (part(this.root, "save"));
    const silent = performance.now() - this.stoppedAt > SAVE_AFTER_MS;
    const safe = last?.stop?.safe;
    const open = now.phase === "stopped" && last?.waits && !last.stored && silent
      && (safe || !Number.isNaN(now.ran));
    form?.toggleAttribute("hidden", !open);
    if (open) part(this.root, "pending")?.setAttribute("hidden", "");
    if (!form || !open || !last || form.dataset.busy) return;
    const { mono, wall, origin } = momentOf();
    const start = { mono: now.start, wall: wall - (mono - now.start), origin };
    const clocks = { helped: last.helped, start: Number.isNaN(now.start) ? null : start,
      confirmed: true, hidden: this.hiddenIn === now.trial };
    const ms = Number.isNaN(now.ran) ? "" : String(Math.round(now.ran));
    fill(form, { uid: now.trial, raw_ms: ms, clocks: JSON.stringify(clocks),
      outcome: safe ? "stopped" : "completed", range_ok: "yes" });
    say(form, "why", `${this.theirs()} does not answer. Save here only if that phone did `
      + `not time it. ${last.doubt}`);
    say(form, "save-words", safe ? "Save the stop from this phone" : `Save ${tenths(now.ran)} s from this phone`);
  }

  paint() {
    const { phase, start, ran } = this.now;
    const ms = phase === "running" ? performance.now() - start : ran;
    say(this.root, "clock", Number.isNaN(ms) ? "" : tenths(Math.max(0, ms)));
    requestAnimationFrame(() => this.paint());
  }
}

const root = /** @type {any} */ (document.querySelector("[data-helper]"));
if (root) new Helper(root);
