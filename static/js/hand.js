// @ts-check
/**
 * How this phone likes its stopwatch: `button[data-pref=NAME][data-value=V]`. Kept on
 * the phone, since it belongs to the hand that holds it and not to any patient.
 * Quiet unless asked: nothing sounds or buzzes in a patient's room by itself.
 */
import { withStore } from "./kept.js";

const KEY = "tapeline.hand";

/** @type {Record<string, string>} */
let likes = read();

/** @returns {Record<string, string>} */
function read() {
  try {
    return JSON.parse(withStore((store) => store.getItem(KEY)) ?? "{}") ?? {};
  } catch {
    return {};
  }
}

/** Milliseconds between the tap and the start. */
export function delayMs() {
  return ["5", "10"].includes(likes.delay) ? 1000 * Number(likes.delay) : 0;
}

/** @param {"beep" | "buzz"} cue */
export function wants(cue) {
  return likes[cue] === "yes";
}

/** What is pressed: the value, or for a switch whether it is on. @param {HTMLElement} b */
function isOn({ dataset: { pref = "", value = "yes" } }) {
  return (likes[pref] ?? (pref === "delay" ? "0" : "")) === value;
}

/** Shows every choice as it is now, and lays the page out for the hand. */
export function applyHand() {
  document.documentElement.dataset.hand = likes.left === "yes" ? "left" : "right";
  for (const button of document.querySelectorAll("[data-pref]")) {
    const on = isOn(/** @type {HTMLElement} */ (button));
    button.setAttribute("aria-pressed", String(on));
  }
}

/** @param {HTMLButtonElement} button */
export function bindPref(button) {
  const { pref = "", value } = button.dataset;
  button.closest("[data-likes]")?.removeAttribute("hidden"); // no use without script
  if (pref === "buzz" && !("vibrate" in navigator)) missing(button, "no buzz");
  if (pref === "beep" && !("AudioContext" in window)) missing(button, "no beep");
  button.addEventListener("click", () => {
    likes = { ...likes, [pref]: value ?? (isOn(button) ? "no" : "yes") };
    withStore((store) => store.setItem(KEY, JSON.stringify(likes)));
    applyHand();
  });
  applyHand();
}

/** @param {HTMLButtonElement} button @param {string} what */
function missing(button, what) {
  button.disabled = true;
  button.textContent = `This phone has ${what}`;
}
