// @ts-check
/**
 * `[data-counter]`: each `button[data-add=NAME]` adds one to the input of that name, at
 * the touch; `[data-undo]` takes the last one back. The inputs can be typed in as well.
 */
import { onPress } from "./press.js";

/** The number in an input; anything else is no count. @param {string} text */
export function countIn(text) {
  return /^\d+$/.test(text.trim()) ? Number(text) : 0;
}

/** @param {HTMLElement} counter */
export function bindCounter(counter) {
  /** @type {string[]} */
  const added = [];
  const change = (/** @type {string} */ name, /** @type {number} */ by) => {
    const input = counter.querySelector(`input[name="${name}"]`);
    if (!(input instanceof HTMLInputElement)) return;
    input.value = String(Math.max(0, countIn(input.value) + by));
    input.dispatchEvent(new Event("input", { bubbles: true }));
  };
  for (const element of counter.querySelectorAll("button[data-add]")) {
    const button = /** @type {HTMLButtonElement} */ (element);
    const name = button.dataset.add ?? "";
    onPress(button, () => {
      added.push(name);
      change(name, 1);
    });
  }
  onPress(counter.querySelector("[data-undo]"), () => {
    const name = added.pop();
    if (name) change(name, -1);
  });
}
