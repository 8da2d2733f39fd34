// @ts-check
/** Signing out while trials wait on this phone: send them, keep them for me, discard. */
import { free } from "./busy.js";
import { discard, sendNow, waiting } from "./outbox.js";
import { belongsTo } from "./session.js";

/** @param {SubmitEvent} event */
async function leave(event) {
  const form = /** @type {HTMLFormElement} */ (event.target);
  if (form.getAttribute("action") !== "/sign-out") return;
  event.preventDefault();
  const items = await waiting();
  free(form);
  if (!items.length || !open(form, items.length)) go(form);
}

/** @param {HTMLFormElement} form */
function go(form) {
  belongsTo("");
  form.submit(); // asks no listener again
}

/** @param {HTMLFormElement} form @param {number} count */
function open(form, count) {
  const dialog = /** @type {HTMLDialogElement | null} */ (
    document.querySelector("dialog[data-sign-out]"));
  if (!dialog) return false;
  const part = (/** @type {string} */ name) =>
    /** @type {HTMLElement} */ (dialog.querySelector(`[data-${name}]`));
  part("how-many").textContent = count === 1 ? "1 trial waits" : `${count} trials wait`;
  const say = (/** @type {string} */ words) => { part("outcome").textContent = words; };
  say("");
  part("discard").textContent = "Discard";
  delete part("discard").dataset.sure;
  part("send").onclick = async () => {
    say("Sending …");
    await sendNow();
    const left = (await waiting()).length;
    if (!left) return go(form);
    say(`${left} could not be sent. Keep for me, or try again.`);
  };
  part("keep").onclick = () => go(form);
  part("discard").onclick = () => discardAll(form, part("discard"));
  form.closest("details")?.removeAttribute("open");
  dialog.showModal();
  return true;
}

/** @param {HTMLFormElement} form @param {HTMLElement} button */
async function discardAll(form, button) {
  if (!button.dataset.sure) {
    button.dataset.sure = "yes";
    button.textContent = "They are nowhere else. Discard for good?";
    return;
  }
  for (const item of await waiting()) await discard(item);
  go(form);
}

/** Once per page. */
export function watchSignOut() {
  document.addEventListener("submit", leave);
}
