// @ts-check
/** Ties a stopwatch form to fingers, keys, the page's comings and goings, answers. */
import { part, valueOf } from "./face.js";
import { isAbout, save } from "./kept.js";
import { onPress } from "./press.js";
import { Stopwatch } from "./stopwatch.js";

/** Page keys are what a hand-held clicker sends. */
const CLICKER = ["PageDown", "PageUp"];
const KEYS = [" ", "Enter"];

/** @param {HTMLFormElement} form */
export function stopwatch(form) {
  const watch = new Stopwatch(form);
  form.noValidate = true; // a time is never held back by another field
  onPress(part(form, "pad"), (event) => watch.tap(event));
  onPress(part(form, "split"), (event) => watch.split(event));
  onPress(part(form, "safe"), (event) => watch.safe(event));
  part(form, "confirm")?.addEventListener("click", () => watch.confirm());
  part(form, "repeat")?.addEventListener("click", () => watch.clear());
  closeTyped(form);
  listen(form, watch);
}

/** With a stopwatch there, typing steps back; what was typed stays in sight. */
function closeTyped(/** @type {HTMLFormElement} */ form) {
  const typed = part(form, "typed");
  if (typed && !valueOf(form, "typed")) typed.removeAttribute("open");
}

/** @param {HTMLFormElement} form @param {Stopwatch} watch */
function listen(form, watch) {
  form.addEventListener("htmx:after:request", (event) => watch.answered(event));
  form.addEventListener("htmx:error", (event) => watch.answered(event));
  form.addEventListener("submit", (event) => {
    if (form.dataset.state === "running") event.preventDefault(); // enter in some field
  });
  whilePresent(form, document, "visibilitychange", () => {
    if (!document.hidden || !watch.run || watch.run.stop) return;
    watch.run.hidden = true;
    save(watch.key, watch.run);
  });
  whilePresent(form, window, "storage", (/** @type {StorageEvent} */ event) => {
    if (isAbout(event, watch.key)) watch.restore();
  });
  whilePresent(form, document, "keydown", (/** @type {KeyboardEvent} */ event) => {
    const free = event.target === document.body && KEYS.includes(event.key);
    if (event.repeat || !(free || CLICKER.includes(event.key))) return;
    event.preventDefault();
    watch.tap(event);
  });
}

/**
 * Listens outside the form only as long as the form is on the page.
 * @param {HTMLFormElement} form
 * @param {EventTarget} target
 * @param {string} name
 * @param {(event: any) => void} act
 */
function whilePresent(form, target, name, act) {
  const listener = (/** @type {Event} */ event) => {
    if (form.isConnected) act(event);
    else target.removeEventListener(name, listener);
  };
  target.addEventListener(name, listener);
}
