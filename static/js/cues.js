// @ts-check
/**
 * What is heard and felt, each only when asked for (hand.js). Everything is seen too,
 * so that nothing depends on a sound: a ring switch or an old phone may swallow it.
 */
import { wants } from "./hand.js";

const LOW = 660;
const HIGH = 990;
/** @type {AudioContext | null} */
let sound = null;

/** Inside a tap: a browser lets a page sound only from there. Null where it cannot.
 * @returns {Promise<AudioContext | null>} */
export async function prime() {
  try {
    sound ??= new window.AudioContext();
    await sound.resume();
    return sound;
  } catch {
    return null; // silent, then
  }
}

/** @param {number} hertz @param {number} at seconds of the audio clock */
export function beep(hertz, at, length = 0.12) {
  if (!sound) return null;
  const tone = sound.createOscillator();
  tone.frequency.value = hertz;
  tone.connect(sound.destination);
  tone.start(at);
  tone.stop(at + length);
  return tone;
}

/** @param {number | number[]} pattern */
export function buzz(pattern) {
  if (wants("buzz")) navigator.vibrate?.(pattern);
}

/**
 * The last three seconds and the start at `due` (performance.now). The tones are set on
 * the audio clock, which a busy page does not delay. Gives back how to call it off.
 * @param {number} due
 */
export function countDown(due) {
  /** @type {(OscillatorNode | null)[]} */
  let tones = [];
  let off = false;
  const seconds = [3, 2, 1, 0];
  const timers = seconds.map((left) => {
    const wait = due - performance.now() - 1000 * left;
    return setTimeout(buzz, Math.max(0, wait), left ? 60 : 300);
  });
  if (wants("beep")) {
    prime().then(() => {
      if (off || !sound) return;
      const late = sound.outputLatency || sound.baseLatency || 0;
      const start = sound.currentTime + (due - performance.now()) / 1000 - late;
      tones = seconds.map((left) => (
        beep(left ? LOW : HIGH, Math.max(0, start - left), left ? 0.1 : 0.4)));
    });
  }
  return () => {
    off = true;
    timers.forEach(clearTimeout);
    for (const tone of tones) tone?.stop();
  };
}

/** A touch was counted, inside that touch. */
export function tick() {
  buzz(30);
  if (wants("beep")) prime().then((clock) => { if (clock) beep(LOW, clock.currentTime, 0.03); });
}

/** The end of a window or a hold. */
export function ring() {
  buzz([200, 100, 200]);
  if (wants("beep") && sound) beep(HIGH, sound.currentTime, 0.6);
}

/** Inside the tap that starts a run: its end will want to sound. */
export function makeReady() {
  if (wants("beep")) prime();
}
