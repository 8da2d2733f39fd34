// @ts-check
/** `[data-aloud]`: reads the card's lines as they now stand, only when it is tapped. */
import { Voice } from "./voice.js";

const READ = "Read it aloud";
const STOP = "Stop reading";

/** @param {HTMLButtonElement} button */
export function aloud(button) {
  const said = document.querySelector("[data-aloud-said]");
  const voice = new Voice((words) => {
    if (said) said.textContent = words;
  });
  if (!voice.speaks) return;
  let reading = false;
  const turn = (/** @type {boolean} */ on) => {
    reading = on;
    button.textContent = on ? STOP : READ;
  };
  button.hidden = false;
  button.addEventListener("click", () => {
    if (reading) {
      voice.hush();
      turn(false);
      return;
    }
    turn(true);
    voice.read([button.dataset.label ?? "", ...lines()], () => turn(false));
  });
  window.addEventListener("pagehide", () => voice.hush());
}

/** What was left out is read once it is ticked. */
function lines() {
  const fields = /** @type {NodeListOf<HTMLTextAreaElement>} */ (
    document.querySelectorAll("textarea[data-say]"));
  const taken = new Set([...document.querySelectorAll("input[name=take]:checked")].map(
    (box) => `more-${/** @type {HTMLInputElement} */ (box).value}`));
  return [...fields]
    .filter((field) => !field.name.startsWith("more-") || taken.has(field.name))
    .map((field) => field.value.trim())
    .filter(Boolean);
}
