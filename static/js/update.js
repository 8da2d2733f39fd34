// @ts-check
/**
 * A new version waits until a person says so and no trial runs: `[data-update]` shows
 * its button only while the phone is idle.
 */
import { readRun } from "./kept.js";

/** Some browsers never say that the new worker took over. */
const FALLBACK_MS = 4_000;
const LOOK_EVERY_MS = 2_000;
const RUNS = "tapeline.run.";
/** A rest is no trial, and may have been left behind. */
const RESTS = `${RUNS}rest-`;
/** A stopwatch forgotten for ten hours is no trial. */
const FORGOTTEN_MS = 36_000_000;

/** Whether a trial runs, or waits to be saved, in any tab of this phone. */
export function trialRuns() {
  if (document.querySelector("[data-state=running], [data-state=doubt]")) return true;
  try {
    return Object.keys(localStorage)
      .filter((key) => key.startsWith(RUNS) && !key.startsWith(RESTS))
      .map((key) => readRun(localStorage.getItem(key)))
      .some((run) => run && Date.now() - run.start.wall < FORGOTTEN_MS);
  } catch {
    return false; // no storage: the page itself was asked above
  }
}

/** @param {ServiceWorkerRegistration} registration */
export function watchUpdates(registration) {
  const { serviceWorker } = navigator;
  serviceWorker.addEventListener("message", ({ data, ports }) => {
    if (data === "running?") ports[0]?.postMessage(trialRuns() ? "running" : "idle");
    if (data === "update-waits") offer(registration);
  });
  serviceWorker.startMessages();
  document.addEventListener("visibilitychange", () => {
    // A home-screen app stays open for days and never loads a page anew.
    if (!document.hidden) registration.update().catch(() => {});
  });
  const button = document.querySelector("[data-update] button");
  button?.addEventListener("click", () => use(registration));
  setInterval(offer, LOOK_EVERY_MS, registration);
  offer(registration);
}

/** @param {ServiceWorkerRegistration} registration */
function offer(registration) {
  const ready = registration.waiting && registration.active && !trialRuns();
  document.querySelector("[data-update]")?.toggleAttribute("hidden", !ready);
}

/** @param {ServiceWorkerRegistration} registration */
function use(registration) {
  const { waiting } = registration;
  if (!waiting || trialRuns()) return offer(registration);
  let done = false;
  const renew = () => {
    if (done || registration.waiting === waiting) return; // a trial runs somewhere
    done = true;
    if (!trialRuns() && !typed()) location.reload();
    else offer(registration); // the next page is new anyway
  };
  navigator.serviceWorker.addEventListener("controllerchange", renew);
  setTimeout(renew, FALLBACK_MS);
  waiting.postMessage("use-update");
}

/** Something typed here would be lost by loading the page again. */
function typed() {
  const fields = document.querySelectorAll("main input, main textarea");
  return [...fields].some((element) => {
    const field = /** @type {HTMLInputElement} */ (element);
    if (field.type === "hidden") return false;
    return field.value !== field.defaultValue || field.checked !== field.defaultChecked;
  });
}
