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
    if (!event.isPrimary || event.button !== 0) return;
    pressed = true;
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
