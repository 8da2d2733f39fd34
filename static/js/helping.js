// @ts-check
/**
 * The owner's side of a second phone, on the page of a round that is open for one
 * (`[data-helping]`): what the helper pressed works the stopwatch here, and what happens
 * here is told. This phone keeps the time and saves it; with no link all is as without.
 *
 * @typedef {import("./help_link.js").Said} Said
 * @typedef {any} Watch form.watch of stopwatch_bind.js
 */
import { fill, valueOf } from "./fields.js";
import { Link, OUT } from "./help_link.js";
import { momentOf } from "./press.js";
import { beforeClosing, settle, startHere, stopHere } from "./shared_watch.js";

/** A stop here waits so long for word of an earlier stop on the other phone. */
const FIRST_MS = 1_200;
const OVER = "The second phone has left, or the test is done. This phone goes on alone.";
const LOST = "No link to the other phone: start and stop here.";

export class Owner {
  /** @param {HTMLElement} place */
  constructor(place) {
    this.place = place;
    /** @type {Said | null} */
    this.last = null;
    this.told = { start: "", stop: "", clear: "" };
    /** Trials that have ended here. @type {Set<string>} */
    this.done = new Set();
    this.known = new WeakSet();
    const url = place.dataset.helping ?? "";
    this.link = new Link(url, (said) => this.heard(said),
      () => this.say("said", this.link.out ? OUT : LOST));
    for (const name of ["stopwatch:start", "stopwatch:stop"]) {
      document.addEventListener(name, () => queueMicrotask(() => this.tell()));
    }
    document.addEventListener("submit", (event) => this.sending(event), { capture: true });
  }

  /** @returns {Watch} */
  get watch() {
    const form = /** @type {any} */ (document.querySelector("form[data-stopwatch]"));
    const watch = form?.watch;
    if (!watch || this.known.has(watch)) return watch;
    this.known.add(watch);
    beforeClosing(watch, async (run) => {
      this.tell();
      if (this.link.alive) await this.link.told(FIRST_MS);
      settle(run, this.last);
    });
    return watch;
  }

  /** @param {string} name @param {string} words */
  say(name, words) {
    const at = this.place.querySelector(name === "who" ? "[data-helping-who]" : "[data-helping-said]");
    if (at && at.textContent !== words) at.textContent = words;
  }

  /** @param {Said} said */
  heard(said) {
    if (!said.on) return this.ended();
    this.last = said;
    if (said.helper) this.say("who", `${said.helper} helps on another phone.`);
    if (said.helper) this.say("said", "");
    const { watch } = this;
    if (!watch) return;
    this.follow(watch, said);
    this.tell();
  }

  ended() {
    this.place.toggleAttribute("data-over", true);
    this.say("who", OVER);
    this.say("said", "");
    this.place.querySelector("button")?.remove();
  }

  /** Does here what was pressed there. @param {Watch} watch @param {Said} said */
  follow(watch, said) {
    const { trial, phase, start, stop, stored } = said;
    const { run, form: { dataset: { state } } } = watch;
    if (stored && run?.uid === trial && state !== "sending") {
      watch.clear(); // the other phone saved it
      return window.location.reload();
    }
    if (stored || !trial || this.done.has(trial)) return;
    const raced = phase === "running" && run && !run.stop && this.told.start === run.uid;
    const free = run?.uid !== trial && (raced || (!run && state === "idle"));
    const theirs = start?.side === "helper" && stop?.side !== "owner";
    if (theirs && free) startHere(watch, said, this.link.compared);
    if (stop?.side === "helper" && stopHere(watch, said)) this.done.add(trial);
  }

  /** What happened here and has not been told. */
  tell() {
    const { watch, told, last } = this;
    if (!watch || this.link.over) return;
    const { run, form: { dataset: { state } } } = watch;
    const tell = (/** @type {string} */ trial, /** @type {string} */ kind, mark = momentOf()) =>
      this.link.tell({ trial, kind, mono: mark.mono, of: mark.origin });
    if (run && told.start !== run.uid && state !== "delay") {
      told.start = run.uid;
      tell(run.uid, "start", run.start);
    }
    if (run?.stop && told.stop !== run.uid) {
      told.stop = run.uid;
      tell(run.uid, run.outcome === "stopped" ? "safe" : "stop", run.stop);
      this.done.add(run.uid);
    }
    const left = told.start || (last?.phase === "stopped" && last.stored ? last.trial : "");
    if (run || state !== "idle" || !left || told.clear === left) return;
    Object.assign(told, { start: "", stop: "", clear: left });
    this.done.add(left);
    tell(left, "clear");
  }

  /** Who pressed goes with the trial; a stop without a run is told. @param {Event} event */
  sending({ target }) {
    const form = /** @type {any} */ (target);
    const run = form.watch?.run;
    if (run?.helped) {
      const clocks = JSON.parse(valueOf(form, "clocks") || "{}");
      fill(form, { clocks: JSON.stringify({ ...clocks, helped: run.helped }) });
    } else if (form.watch && !run && valueOf(form, "outcome") === "stopped") {
      const { mono, origin } = momentOf();
      this.link.tell({ trial: valueOf(form, "uid"), kind: "safe", mono, of: origin });
    }
  }
}

const place = document.querySelector("[data-helping]");
if (place instanceof HTMLElement) new Owner(place);
