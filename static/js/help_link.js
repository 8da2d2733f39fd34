// @ts-check
/**
 * The link of one of two phones to the server between them: asks how it stands once a
 * second, tells presses in order, and measures the clocks by the way. Nothing here runs a
 * clock: without a link the owner's stopwatch goes on as if there were no other phone.
 *
 * @typedef {{trial: string, kind: string, mono: number, of: number}} Press
 *   `mono` on the clock of the page opened at `of`
 * @typedef {{on: boolean, helper: string, owner: string, phase: string, trial: string,
 *   start: {side: string, mono: number | null} | null, waits: boolean, late: string,
 *   stop: {side: string, safe: boolean, ran_ms: number | null} | null, stored: string,
 *   helped: any, doubt: string, t1: number, t2: number, scale: number}} Said
 * @typedef {{t0: number, t1: number, t2: number, t3: number, scale: number}} Exchange
 */
import { person, post } from "./asking.js";
import { signInAgain } from "./session.js";

const EVERY_MS = 1_000;
/** At first and after a gap the clocks are compared quickly. */
const AT_FIRST = 5;
const AT_FIRST_MS = 150;
const PATIENCE_MS = 4_000;
const LONGEST_WAIT_MS = 10_000;
const EXCHANGES = 12;
const SILENT_MS = 3_500;
/** Signed out, locked, too early, too many: told again later. */
const NOT_NOW = [401, 408, 423, 425, 429];
const GONE = [403, 404]; // not this person's any more
export const OUT = "You are signed out here.";

export class Link {
  /** @param {string} url @param {(said: Said) => void} heard @param {() => void} lost */
  constructor(url, heard, lost) {
    this.url = url;
    this.heard = heard;
    this.lost = lost;
    /** @type {Exchange[]} */
    this.exchanges = [];
    /** @type {Press[]} */
    this.queue = [];
    this.heardAt = -Infinity;
    this.failures = 0;
    this.turns = 0; // how often the page came or went
    this.over = this.out = this.busy = false;
    this.timer = 0;
    document.addEventListener("visibilitychange", () => {
      this.turns += 1;
      this.exchanges = []; // a phone that slept has another clock
      this.go();
    });
    document.addEventListener("session:renewed", () => this.go());
    for (const name of ["online", "pageshow"]) window.addEventListener(name, () => this.go());
    this.go();
  }

  /** An answer came just now. */
  get alive() {
    return !this.over && !this.failures && performance.now() - this.heardAt < SILENT_MS;
  }

  /** The clocks have been compared often enough to press by them. */
  get compared() { return this.exchanges.length >= AT_FIRST; }

  /** @param {Press} press */
  tell(press) {
    this.queue.push(press);
    this.go();
  }

  /** All that was told has been answered, or the time is up. @param {number} ms */
  async told(ms) {
    const end = performance.now() + ms;
    while (this.queue.length && !this.over && performance.now() < end) {
      await new Promise((done) => { setTimeout(done, 30); });
    }
  }

  /** Ask or tell now, and again later; out of sight only what was pressed is told. */
  async go() {
    clearTimeout(this.timer);
    if (this.busy || this.over || (document.hidden && !this.queue.length)) return;
    this.busy = true;
    try {
      do await this.once(); while (this.queue.length && !this.over);
    } catch {
      this.failures += 1;
      this.lost();
    }
    this.busy = false;
    const wait = this.compared ? EVERY_MS : AT_FIRST_MS;
    const next = this.failures ? EVERY_MS * 2 ** (this.failures - 1) : wait;
    this.timer = window.setTimeout(() => this.go(), Math.min(next, LONGEST_WAIT_MS));
  }

  /** One exchange. */
  async once() {
    const [press] = this.queue;
    const { turns } = this;
    const t0 = performance.now();
    const response = await (press ? this.sent(press) : this.asked());
    const t3 = performance.now();
    const { status } = response;
    const ours = response.headers.has("x-request-id");
    const out = ours && status === 401;
    if (out && !this.out) signInAgain(); // "session:renewed" when they have
    this.out ||= out;
    if (ours && GONE.includes(status)) return this.take(/** @type {any} */ ({ on: false }));
    if (press && status >= 400 && status < 500 && !NOT_NOW.includes(status)) this.queue.shift();
    if (!response.ok || !ours) throw new Error("no answer");
    /** @type {Said} */
    const said = await response.json();
    if (press && said.on) this.queue.shift(); // else it came too late, which is told
    const { t1, t2, scale } = said;
    const awake = turns === this.turns; // else the clock may have stood meanwhile
    if (awake && said.on) this.exchanges = [...this.exchanges, { t0, t1, t2, t3, scale }].slice(-EXCHANGES);
    this.take(said);
  }

  /** @param {Said} said */
  take(said) {
    Object.assign(this, { heardAt: performance.now(), failures: 0, out: false, over: !said.on });
    this.heard(said);
    if (this.over) document.dispatchEvent(new Event("help:over"));
  }

  asked() {
    const headers = { "HX-Request": "true", "Tapeline-Person": person() };
    const query = new URLSearchParams(this.mine());
    return fetch(`${this.url}/now?${query}`, { headers, signal: soon() });
  }

  /** @param {Press} press */
  sent({ trial, kind, mono, of }) {
    const told = { trial, kind, mono: String(mono), of: String(of), ...this.mine() };
    return post(`${this.url}/presses`, new URLSearchParams(told), soon());
  }

  /** This page's clock, and its exchange with the shortest way. */
  mine() {
    const trip = (/** @type {Exchange} */ e) => e.t3 - e.t0 - (e.t2 - e.t1);
    const [best] = [...this.exchanges].sort((a, b) => trip(a) - trip(b));
    const x = best ? [best.t0, best.t1, best.t2, best.t3, best.scale].join() : "";
    return { origin: String(performance.timeOrigin), x };
  }
}

const soon = () => AbortSignal.timeout?.(PATIENCE_MS);
