// @ts-check
/**
 * Which keys work a stopwatch. A hand-held clicker sends page keys or arrows; a
 * keyboard has space and enter. Typing in a field is never a key of the stopwatch.
 */

const TAP = ["PageDown", "PageUp", "ArrowRight", "ArrowDown"];
const SPLIT = ["ArrowLeft", "ArrowUp"];
const OWN = [" ", "Enter"];
const FIELDS = "input, select, textarea, [contenteditable]";
const CONTROLS = "a[href], button, summary, label, [tabindex]:not([tabindex='-1'])";

/**
 * @param {KeyboardEvent} event
 * @returns {"tap" | "split" | null}
 */
export function meaning(event) {
  if (event.repeat || event.defaultPrevented) return null;
  if (event.ctrlKey || event.altKey || event.metaKey) return null;
  const on = event.target instanceof Element ? event.target : null;
  if (on?.closest(FIELDS) || document.querySelector("dialog[open]")) return null;
  if (TAP.includes(event.key)) return "tap";
  if (SPLIT.includes(event.key)) return "split";
  // On a control these two work the control.
  return OWN.includes(event.key) && !on?.closest(CONTROLS) ? "tap" : null;
}
