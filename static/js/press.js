// @ts-check
/**
 * One act per press, at the moment the finger lands: `click` would come on release.
 * Space and enter work too, and so does a bare `click`, which is all that some screen
 * readers and voice control send.
 */
import { markAt } from "./timing.js";

/** Both clocks at the event, or now. @param {Event} [event] */
export function momentOf(event) {
  const now = performance.now();
  const clocks = { now, wall: Date.now(), origin: performance.timeOrigin };
  return markAt(event?.timeStamp ?? clocks.now, clocks);
}

/**
 * @param {HTMLElement | null} element
 * @param {(event: Event) => void} act
 */
export function onPress(element, act) {
  if (!element) return;
  let pressed = false;
  element.addEventListener("pointerdown", (event) => {
    // Also with another finger or a palm resting on the glass.
    if (event.button !== 0) return;
    pressed = event.isPrimary; // no click follows from a second finger
    dropStray(element);
    act(event);
  });
  element.addEventListener("keydown", (event) => {
    if (event.key !== " " && event.key !== "Enter") return;
    event.preventDefault(); // no click follows
    if (!event.repeat) act(event);
  });
  element.addEventListener("keyup", (event) => {
    if (event.key === " ") event.preventDefault(); // some browsers click on release
  });
  element.addEventListener("click", (event) => {
    event.preventDefault();
    if (!pressed) act(event);
    pressed = false;
  });
}

/** The click comes right after the finger lifts. */
const STRAY_MS = 80;
/** A finger that rests longer makes no click. */
const LONGEST_MS = 1500;

/**
 * The act may move the page under the finger: its release must not be a click on what
 * has come to lie there, such as "Repeat the trial".
 * @param {HTMLElement} element what was pressed
 */
function dropStray(element) {
  const stray = (/** @type {Event} */ event) => {
    if (element.contains(/** @type {Node} */ (event.target))) return;
    event.preventDefault();
    event.stopImmediatePropagation();
  };
  const watch = new AbortController();
  const { signal } = watch;
  const done = () => watch.abort();
  const over = () => setTimeout(done, STRAY_MS);
  document.addEventListener("click", stray, { capture: true, signal });
  for (const end of ["pointerup", "pointercancel"]) {
    window.addEventListener(end, over, { capture: true, signal });
  }
  window.addEventListener("pointerdown", done, { capture: true, signal }); // a new press
  setTimeout(done, LONGEST_MS);
}

const AT_ONCE_MS = 400;

/**
 * Buttons that come to lie where a finger just tapped: the second half of a double tap
 * is no answer.
 * @param {Iterable<Element>} buttons
 */
export function notAtOnce(buttons) {
  for (const button of buttons) {
    button.setAttribute("disabled", "");
    setTimeout(() => button.removeAttribute("disabled"), AT_ONCE_MS);
  }
}
