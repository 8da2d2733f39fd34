// @ts-check
/** Ties a stopwatch form to fingers, keys, the page's comings and goings, answers. */
import { part, valueOf } from "./fields.js";
import { isAbout, save } from "./kept.js";
import { meaning } from "./keys.js";
import { onPress } from "./press.js";
import { Reps } from "./reps.js";
import { Stopwatch } from "./stopwatch.js";

/** @param {HTMLFormElement} form */
export function stopwatch(form) {
  const watch = form.dataset.seconds ? new Reps(form) : new Stopwatch(form);
  if ("practised" in form.dataset) import("./practised.js").then((m) => m.practised(watch));
  // A time is never held back by another field; a second phone works the same watch.
  Object.assign(form, { noValidate: true, watch });
  onPress(part(form, "pad"), (event) => watch.tap(event));
  onPress(part(form, "split"), (event) => watch.split(event));
  onPress(part(form, "safe"), (event) => watch.safe(event));
  part(form, "confirm")?.addEventListener("click", () => watch.confirm("mono"));
  part(form, "confirm-wall")?.addEventListener("click", () => watch.confirm("wall"));
  part(form, "one-more")?.addEventListener("click", () => watch.confirm("mono", 1));
  if (watch instanceof Reps) part(form, "zero")?.addEventListener("click", () => watch.zero());
  part(form, "repeat")?.addEventListener("click", () => watch.clear());
  closeTyped(form);
  listen(form, watch);
}

/** With a stopwatch there, typing steps back; what was typed stays in sight. */
function closeTyped(/** @type {HTMLFormElement} */ form) {
  const typed = part(form, "typed");
  const kept = valueOf(form, "typed") || valueOf(form, "count");
  if (typed && !kept) typed.removeAttribute("open");
}

/** @param {HTMLFormElement} form @param {Stopwatch} watch */
function listen(form, watch) {
  form.addEventListener("htmx:after:request", (event) => watch.answered(event));
  form.addEventListener("htmx:error", (event) => watch.answered(event));
  form.addEventListener("submit", (event) => {
    if (/running|delay/.test(form.dataset.state ?? "")) event.preventDefault(); // enter in some field
  });
  for (const act of /** @type {const} */ (["tap", "split", "safe"])) {
    form.addEventListener(`stopwatch:${act}`, (/** @type {any} */ event) => {
      watch[act](event.detail ?? event); // pressed elsewhere on the page
    });
  }
  whilePresent(form, document, "visibilitychange", () => {
    if (!document.hidden || !watch.run || watch.run.stop) return;
    watch.run.hidden = true;
    save(watch.key, watch.run);
  });
  whilePresent(form, window, "storage", (/** @type {StorageEvent} */ event) => {
    if (isAbout(event, watch.key)) watch.restore();
  });
  whilePresent(form, window, "pageshow", (/** @type {PageTransitionEvent} */ event) => {
    if (event.persisted) watch.restore(); // what was kept may have been sent meanwhile
  });
  whilePresent(form, document, "keydown", (/** @type {KeyboardEvent} */ event) => {
    const near = event.target instanceof Node
      && (event.target.contains(form) || form.contains(event.target));
    const act = near && meaning(event);
    if (!act) return;
    event.preventDefault();
    watch[act](event);
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
