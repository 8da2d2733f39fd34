// @ts-check
/**
 * `[data-undo-kept]`: a set that waits on the phone can be taken back for ten seconds;
 * it is void as soon as it arrives. What is said of it comes into sight and the rest
 * begins, as after a set that was saved; not while the first steps of a stop are read.
 */
import { undo } from "./outbox.js";

const SHOWN_MS = 10_000;

/** @param {Element} work */
function goOn(work) {
  if (document.querySelector("[data-first-steps]:not([hidden])")) return;
  const kept = work.querySelector("[data-kept-rest]");
  const timer = kept && (work.querySelector("#set [data-rest]") ?? kept.querySelector("[data-rest]"));
  if (kept?.contains(timer)) kept.removeAttribute("hidden");
  timer?.dispatchEvent(new Event("rest:begin"));
  work.querySelector("#next")?.scrollIntoView({ block: "start" });
}

/** @param {HTMLElement} place */
export function undoKept(place) {
  let uid = "";
  let hiding = 0;
  place.parentElement?.addEventListener("outbox:kept", (event) => {
    uid = /** @type {CustomEvent} */ (event).detail.uid;
    place.hidden = false;
    place.parentElement?.querySelector("form.undo-set")?.remove(); // of the set before it
    clearTimeout(hiding);
    hiding = window.setTimeout(() => { place.hidden = true; }, SHOWN_MS);
    if (place.parentElement) goOn(place.parentElement);
  });
  place.addEventListener("click", () => {
    place.hidden = true;
    undo(uid, "Saved by mistake");
  });
}
