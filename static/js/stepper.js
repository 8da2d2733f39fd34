// @ts-check
/**
 * `[data-stepper]`: buttons with `data-step` around a text input that can be typed in.
 * Hold a button to repeat. An empty input starts at `data-start`. Where the form has a
 * choice of units, `data-unit` names it, and `data-step-cm` is the step in cm.
 */
import { onPress } from "./press.js";

const HOLD_MS = 450;
const REPEAT_MS = 110;

/** @param {string} text */
function decimals(text) {
  return text.split(".")[1]?.length ?? 0;
}

/**
 * The next value as text, in whole units of the last place, so that no float shows.
 * @param {string} value
 * @param {string} step
 * @param {{start?: string, low?: string, high?: string}} limits
 */
export function stepped(value, step, { start = "", low = "", high = "" }) {
  const typed = value.trim().replace(",", ".");
  if (typed === "") return start || low || "0";
  if (!/^-?\d*\.?\d+$/.test(typed)) return value; // not ours to correct
  const places = Math.max(decimals(typed), decimals(step));
  const scale = 10 ** places;
  let next = Math.round(Number(typed) * scale) + Math.round(Number(step) * scale);
  if (low !== "") next = Math.max(next, Math.round(Number(low) * scale));
  if (high !== "") next = Math.min(next, Math.round(Number(high) * scale));
  return (next / scale).toFixed(places).replace(/(\.\d*?)0+$/, "$1").replace(/\.$/, "");
}

/** @param {HTMLElement} stepper */
export function bindStepper(stepper) {
  const input = stepper.querySelector("input");
  if (!input) return;
  for (const button of stepper.querySelectorAll("button[data-step]")) {
    const change = () => {
      const unit = unitOf(stepper);
      const limit = (/** @type {string} */ name) => said(stepper, name, unit);
      const limits = { start: limit("start"), low: limit("low"), high: limit("high") };
      input.value = stepped(input.value, said(button, "step", unit), limits);
      input.dispatchEvent(new Event("input", { bubbles: true }));
      input.dispatchEvent(new Event("change", { bubbles: true }));
    };
    holdable(/** @type {HTMLElement} */ (button), change);
  }
}

/**
 * `data-NAME-UNIT`, or `data-NAME` where nothing is said for that unit.
 * @param {Element} element
 * @param {string} name
 * @param {string} unit
 */
function said(element, name, unit) {
  const plain = element.getAttribute(`data-${name}`) ?? "";
  return element.getAttribute(`data-${name}-${unit}`) ?? plain;
}

/** The unit chosen now, empty where there is no choice. @param {HTMLElement} stepper */
function unitOf(stepper) {
  const name = stepper.dataset.unit;
  const form = stepper.closest("form");
  return String((name && form && new FormData(form).get(name)) || "");
}

/** @param {HTMLElement} button @param {() => void} change */
function holdable(button, change) {
  let timer = 0;
  const again = () => {
    change();
    timer = window.setTimeout(again, REPEAT_MS);
  };
  const release = () => window.clearTimeout(timer);
  onPress(button, (event) => {
    change();
    release();
    if (event.type === "pointerdown") timer = window.setTimeout(again, HOLD_MS);
  });
  for (const end of ["pointerup", "pointercancel", "pointerleave"]) {
    button.addEventListener(end, release);
  }
  button.addEventListener("contextmenu", (event) => event.preventDefault());
}
