// @ts-check
/**
 * `[data-caller=KIND]`: calls one after the other, shown large, spoken where the phone
 * can. A call that comes late is never followed by a burst: nobody could step to it.
 * Out of sight or locked it pauses.
 *
 * @typedef {"idle" | "running" | "paused" | "over"} State
 */
import { onSecondTap } from "./asking.js";
import { BY, chain, script } from "./calls.js";
import { CallerLog } from "./caller_log.js";
import { optionsOf, sizeOf } from "./caller_options.js";
import { makeReady, tick } from "./cues.js";
import { see } from "./fields.js";
import { onPress } from "./press.js";
import { Voice } from "./voice.js";

const RULES = /** @type {Record<string, string>} */ ({
  same: "Step to the side that is called. On stop, hold still.",
  opposite: "Opposite rule: step to the side that is not called. On stop, hold still.",
});
const OUT_OF_SIGHT = "Paused: the page was out of sight.";
/** From the tap to the first call. */
const READY_MS = 2_000;

export class Caller {
  /** @param {HTMLElement} place @param {import("./bout.js").Bout} bout */
  constructor(place, bout) {
    this.place = place;
    this.bout = bout;
    this.voice = new Voice((words) => this.say("voice", words));
    this.log = new CallerLog(this.part("called"), bout);
    /** @type {import("./calls.js").Cue[]} */
    this.cues = [];
    this.at = 0;
    this.due = 0;
    this.pace = 0;
    this.speaks = false;
    this.timer = 0;
    this.become(this.log.calls.length ? "over" : "idle");
  }

  /** @param {string} name */
  part(name) {
    return /** @type {HTMLElement} */ (this.place.querySelector(`[data-${name}]`));
  }

  /** @param {string} name @param {string} words */
  say(name, words) {
    if (this.part(name).textContent !== words) this.part(name).textContent = words;
  }

  /** @param {State} state */
  become(state) {
    see(this.place, state);
    this.log.open = state === "running";
  }

  start() {
    const { choices, pace, speaks, ...options } = optionsOf(this.place);
    this.cues = script({ choices, ...options });
    Object.assign(this, { pace, speaks, at: 0 });
    const { kind, seed, rule, by } = options;
    const words = kind === "go_stop" ? RULES[rule] ?? RULES.same : "Ready";
    this.say("seed", `Order ${seed}`);
    this.show("Ready");
    this.say("rule", words === "Ready" ? "" : words);
    if (kind === "subtract") {
      const right = chain(Number(this.cues[0].shown), by).join(", ");
      this.say("chain", `By ${BY[by]}: ${right}`);
    }
    this.log.begin({ kind, seed, pace_ms: pace, options, choices });
    this.go(words);
  }

  /** Inside a tap. @param {string} words */
  go(words) {
    makeReady();
    if (this.speaks) this.voice.prime(words);
    this.bout.runs("caller", { halt: () => this.stop(), sounds: true });
    this.become("running");
    this.due = performance.now() + READY_MS;
    this.wait();
    this.place.scrollIntoView({ block: "start" });
  }

  wait() {
    clearTimeout(this.timer);
    if (!Number.isFinite(this.due)) return; // until it is stopped
    const ms = Math.max(0, this.due - performance.now());
    this.timer = window.setTimeout(() => this.call(), ms);
  }

  call() {
    const away = document.hidden || document.body.classList.contains("locked");
    if (away) return this.pause(OUT_OF_SIGHT);
    const cue = this.cues[this.at];
    if (!cue) return this.stop();
    this.at += 1;
    this.show(cue.shown);
    if (this.speaks) this.voice.say(cue.said);
    tick();
    if (cue.log) this.log.add(cue.log);
    const now = performance.now();
    const late = now - this.due > this.pace / 2;
    this.due = (late ? now : this.due) + cue.paces * this.pace;
    this.wait();
  }

  /** @param {string} words */
  show(words) {
    this.part("call").dataset.long = sizeOf(words);
    this.say("call", words);
  }

  /** @param {string} [why] */
  pause(why = "Paused") {
    this.rest();
    this.say("rule", why);
    this.become("paused");
  }

  stop() {
    this.rest();
    this.become("over");
  }

  rest() {
    clearTimeout(this.timer);
    this.voice.hush();
    this.bout.rests("caller");
  }
}

/** @param {HTMLElement} place @param {import("./bout.js").Bout} bout */
export function caller(place, bout) {
  const caller = new Caller(place, bout);
  const press = (/** @type {string} */ name, /** @type {() => void} */ act) =>
    place.querySelectorAll(`[data-${name}]`).forEach(
      (button) => onPress(/** @type {HTMLElement} */ (button), act));
  press("call-start", () => caller.start());
  onSecondTap(caller.part("call-again"), () => caller.start());
  press("call-pause", () => caller.pause());
  press("call-on", () => { caller.say("rule", ""); caller.go("Ready"); });
  press("call-stop", () => caller.stop());
  document.addEventListener("visibilitychange", () => {
    if (document.hidden && caller.log.open) caller.pause(OUT_OF_SIGHT);
  });
  bout.form.addEventListener("bout:clear", () => { caller.log.read(); caller.become("idle"); });
}
