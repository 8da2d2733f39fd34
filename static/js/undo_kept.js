// @ts-check
/**
 * `[data-undo-kept]`: a set that waits on the phone can be taken back for ten seconds;
 * it is void as soon as it arrives.
 */
import { undo } from "./outbox.js";

const SHOWN_MS = 10_000;

/** @param {HTMLElement} place */
export function undoKept(place) {
  let uid = "";
  place.parentElement?.addEventListener("outbox:kept", (event) => {
    uid = /** @type {CustomEvent} */ (event).detail.uid;
    place.hidden = false;
    setTimeout(() => { place.hidden = true; }, SHOWN_MS);
  });
  place.addEventListener("click", () => {
    place.hidden = true;
    undo(uid, "Saved by mistake");
  });
}
