// @ts-check
/**
 * One submit at a time: a second tap on a form in flight is dropped, its button waits.
 */

/** A fast answer must not open the way for the second half of a double tap. */
const HOLD_MS = 600;
/** A page that never comes back must not stay locked for good. */
const GIVE_UP_MS = 20_000;

/** It was answered, or goes nowhere. @param {HTMLFormElement} form */
export function free(form) {
  delete form.dataset.busy;
  for (const button of form.elements) { // also those that stand elsewhere
    if (!button.hasAttribute("data-held")) continue;
    button.removeAttribute("data-held");
    button.removeAttribute("disabled");
  }
}

/** @param {SubmitEvent} event */
function hold(event) {
  const form = /** @type {HTMLFormElement} */ (event.target);
  if (form.dataset.busy) {
    event.preventDefault();
    event.stopImmediatePropagation();
    return;
  }
  form.dataset.busy = "yes";
  window.setTimeout(free, GIVE_UP_MS, form);
  window.setTimeout(() => { // after the form was read: a disabled button sends no value
    if (!form.dataset.busy || !event.submitter) return;
    event.submitter.setAttribute("data-held", "");
    event.submitter.setAttribute("disabled", "");
  });
}

/** Once per page. */
export function watchBusy() {
  document.addEventListener("submit", hold, { capture: true });
  document.addEventListener("htmx:finally:request", (event) => {
    const form = /** @type {HTMLElement} */ (event.target).closest?.("form");
    if (form) window.setTimeout(free, HOLD_MS, form);
  });
  window.addEventListener("pageshow", () => {
    document.querySelectorAll("form").forEach(free);
  });
}
