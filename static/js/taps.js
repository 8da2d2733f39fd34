// @ts-check
/**
 * `[data-taps]`, a form or one line of a form: htmx sends it whole at each tap, so that a tap
 * which was not saved goes along with the next one. Says beside it, by word, how that stands,
 * and tries again.
 */

const AGAIN_MS = 10_000;
const NOT_YET = "Not saved yet: no answer from Tapeline. It stays here and is sent again by itself.";
const REFUSED = "Not saved: see the message at the top.";
/** @type {Set<HTMLElement>} */
const unsaved = new Set();

/** @param {BeforeUnloadEvent} event */
function ask(event) {
  if ([...unsaved].some((form) => form.isConnected)) event.preventDefault();
}

/** @param {HTMLElement} form */
export function taps(form) {
  const said = /** @type {HTMLElement} */ (form.querySelector("[data-said]"));
  const byHand = /** @type {HTMLElement} */ (form.querySelector("[data-by-hand]"));
  let timer = 0;
  byHand.hidden = true; // of use without script, and while a tap is not saved
  const send = () => {
    if (unsaved.has(form)) form.dispatchEvent(new Event("change", { bubbles: true }));
  };
  form.addEventListener("htmx:before:request", () => {
    clearTimeout(timer);
    said.textContent = "Saving …";
  });
  form.addEventListener("htmx:after:request", (event) => {
    const { status } = /** @type {CustomEvent} */ (event).detail.ctx.response;
    unsaved.delete(form);
    byHand.hidden = true;
    if (status >= 400 && status !== 422) said.textContent = REFUSED;
  });
  form.addEventListener("htmx:error", (event) => {
    if (/** @type {CustomEvent} */ (event).detail?.ctx?.response) return;
    event.stopPropagation(); // it is said here, where they look
    said.textContent = NOT_YET;
    byHand.hidden = false;
    unsaved.add(form);
    window.addEventListener("beforeunload", ask);
    timer = window.setTimeout(send, AGAIN_MS);
  });
  window.addEventListener("online", send);
  const whole = form.querySelector("textarea")?.form; // a line goes with the whole note
  whole?.addEventListener("submit", () => unsaved.delete(form));
}
