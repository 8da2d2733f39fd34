// @ts-check
/**
 * `[data-beat]`: a steady beat, each of heard, seen and felt switched on by itself. The
 * tones are set ahead on the audio clock, which a busy page does not delay; what is seen
 * is a mark that jumps from side to side, at most 2.4 times a second: no flash.
 */
import { beep, prime } from "./cues.js";
import { onPress } from "./press.js";

/** A page out of sight is woken once a second. */
const AHEAD_MS = 1_500;
const LOOK_EVERY_MS = 250;
const HERTZ = 880;

/** Between 40 and 140, in steps of two. @param {string} text */
export function bpmIn(text) {
  const typed = Math.round(Number(text) / 2) * 2;
  return typed ? Math.min(140, Math.max(40, typed)) : 60;
}

/** How many beats lie behind an instant; the first one is at `from`.
 * @param {number} from @param {number} gap @param {number} at */
export function beatAt(from, gap, at) {
  return Math.floor((at - from) / gap);
}

/** Instants of the beats from number `next` on, up to `until`.
 * @param {number} from @param {number} gap @param {number} next @param {number} until */
export function dueBeats(from, gap, next, until) {
  const last = beatAt(from, gap, until);
  return Array.from({ length: Math.max(0, last - next + 1) }, (_, i) => from + (next + i) * gap);
}

/** @param {HTMLElement} place @param {import("./bout.js").Bout} bout */
export function beat(place, bout) {
  const part = (/** @type {string} */ name) =>
    /** @type {HTMLElement} */ (place.querySelector(`[data-${name}]`));
  const box = (/** @type {string} */ name) => /** @type {HTMLInputElement} */ (part(name));
  const gap = () => 60_000 / bpmIn(box("bpm").value);
  let [from, step, seen, heard, timer] = [0, 0, -1, 0, 0];
  /** @type {(OscillatorNode | null)[]} */
  let tones = [];
  const quiet = () => { tones.forEach((tone) => tone?.stop()); tones = []; };

  const sound = async () => {
    const clock = box("heard").checked && timer ? await prime() : null;
    if (!clock || !timer) return;
    const now = performance.now();
    for (const at of dueBeats(from, step, heard, now + AHEAD_MS)) {
      heard += 1;
      if (at >= now) tones.push(beep(HERTZ, clock.currentTime + (at - now) / 1000, 0.05));
    }
    tones = tones.slice(-20);
  };
  const look = () => {
    if (!timer) return;
    if (!place.isConnected || document.body.classList.contains("locked")) return stop();
    const number = beatAt(from, step, performance.now());
    if (number !== seen && number >= 0) {
      seen = number;
      part("beat-mark").dataset.side = number % 2 ? "right" : "left";
      if (box("felt").checked) navigator.vibrate?.(40);
    }
    requestAnimationFrame(look);
  };
  const begin = (/** @type {number} */ at) => {
    quiet();
    [from, step, seen, heard] = [at, gap(), -1, 0];
    sound();
  };
  const start = () => {
    if (!["heard", "seen", "felt"].some((name) => box(name).checked)) box("seen").checked = true;
    const missing = [
      box("heard").checked && !window.AudioContext && "This phone has no sound here.",
      box("felt").checked && !navigator.vibrate && "This phone cannot buzz."];
    part("beat-said").textContent = missing.filter(Boolean).join(" ");
    timer = window.setInterval(sound, LOOK_EVERY_MS);
    bout.runs("beat", { halt: stop, sounds: true });
    begin(performance.now());
    paint();
    look();
  };
  const stop = () => {
    clearInterval(timer);
    timer = 0;
    quiet();
    bout.rests("beat");
    paint();
  };
  const paint = () => {
    place.dataset.state = timer ? "running" : "idle";
    part("beat-mark").toggleAttribute("hidden", !timer || !box("seen").checked);
    part("beat-go").textContent = timer ? "Stop the beat" : "Start the beat";
  };
  onPress(part("beat-go"), () => (timer ? stop() : start()));
  place.addEventListener("change", (event) => {
    if (!timer) return paint();
    if (event.target === box("bpm")) begin(from + Math.max(0, seen) * step);
    else begin(from + Math.max(0, seen + 1) * step);
    paint();
  });
  paint();
}
