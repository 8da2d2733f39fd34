// @ts-check
/** Attaches each behaviour to its `data-*` elements, on load and after htmx swaps. */
import { watchBusy } from "./busy.js";
import { bindCounter } from "./counter.js";
import { applyHand, bindPref } from "./hand.js";
import { forgetSaved } from "./kept.js";
import { watchLock } from "./lock.js";
import { watchOutbox } from "./outbox_form.js";
import { bindReadyRow, bindTickAll } from "./ready.js";
import { showRunning } from "./running.js";
import { reveal } from "./reveal.js";
import { watchFirstSteps } from "./safe.js";
import { watchSession } from "./session.js";
import { watchSignOut } from "./sign_out.js";
import { bindStepper } from "./stepper.js";
import { taps } from "./taps.js";
import { tell, watchTrouble } from "./trouble.js";
import { fillUid } from "./uid.js";
import { undoKept } from "./undo_kept.js";
import { watchWaiting } from "./waiting.js";
import { showWaits } from "./waits.js";
import { watchWakeLock } from "./wake_lock.js";
import { watchWithdrawn } from "./withdraw.js";
import { startWorker } from "./worker.js";

/**
 * In this order: a time the server holds is forgotten before a stopwatch looks for it.
 * What only some pages have is imported on demand; app/web/assets.py names its file.
 * @type {[string, (element: any) => void | Promise<unknown>][]} */
const BEHAVIOURS = [
  ["[data-saved]", forgetSaved],
  ["input[data-uid]", fillUid],
  ["[data-pref]", bindPref],
  ["form[data-stopwatch]", (e) => import("./stopwatch_bind.js").then((m) => m.stopwatch(e))],
  ["form[data-stages]", (e) => import("./stages.js").then((m) => m.stages(e))],
  ["[data-standing]", (e) => import("./standing.js").then((m) => m.standing(e))],
  ["[data-undo-stop]", (e) => import("./undo.js").then((m) => m.bindUndo(e))],
  ["[data-undo-kept]", undoKept],
  ["[data-running-bar]", showRunning],
  ["[data-stepper]", bindStepper],
  ["[data-counter]", bindCounter],
  ["[data-ready]", bindReadyRow],
  ["[data-reveal]", reveal],
  ["[data-tick-all]", bindTickAll],
  ["[data-taps]", taps],
  ["[data-note-line]", (e) => import("./note.js").then((m) => m.noteLine(e))],
  ["[data-open-line]", (e) => import("./note.js").then((m) => m.openLine(e))],
  ["[data-copy]", (e) => import("./note.js").then((m) => m.copy(e))],
  ["[data-print]", (e) => import("./note.js").then((m) => m.print(e))],
  ["[data-minutes]", (e) => import("./minutes.js").then((m) => m.minutes(e))],
  ["[data-waits]", showWaits],
  ["[data-dose-box]", (e) => import("./dose_box.js").then((m) => m.doseBox(e))],
  ["[data-held-run]", (e) => import("./held_run.js").then((m) => m.heldRun(e))],
  ["[data-bedside]", (e) => import("./bedside.js").then((m) => m.bedside(e))],
  ["form[data-activity-set]", (e) => import("./tools.js").then((m) => m.tools(e))],
  ["[data-rest]", (e) => import("./rest_tool.js").then((m) => m.rest(e))],
  ["[data-aloud]", (e) => import("./aloud.js").then((m) => m.aloud(e))],
  ["[data-whole]", (e) => import("./grow.js").then((m) => m.grow(e))],
  ["[data-attach]", (e) => import("./attach.js").then((m) => m.attach(e))],
  ["[data-figure]", (e) => import("./figure.js").then((m) => m.figure(e))],
  ["[data-attached]", (e) => import("./attach.js").then((m) => m.forgetAttached(e))],
];
const bound = new WeakMap(BEHAVIOURS.map(([, act]) => [act, new WeakSet()]));

/** @param {unknown} fault */
function notLoaded(fault) {
  tell("A part of this page did not load. What can be typed works; or load the page again.");
  throw fault;
}

/** @param {ParentNode} root */
function bind(root) {
  for (const [selector, act] of BEHAVIOURS) {
    const inside = [...root.querySelectorAll(selector)];
    if (root instanceof Element && root.matches(selector)) inside.unshift(root);
    for (const element of inside) {
      if (bound.get(act)?.has(element)) continue;
      bound.get(act)?.add(element);
      act(element)?.catch?.(notLoaded);
    }
  }
}

watchBusy();
watchOutbox();
watchSession();
watchWaiting();
watchSignOut();
watchLock();
watchWakeLock();
watchTrouble();
watchFirstSteps();
watchWithdrawn();
startWorker();
applyHand();
bind(document);
/** A browser sets a style of its own, as for a text area somebody has pulled larger; htmx
 * would write it to what comes in its place, which the content policy refuses. */
document.addEventListener("htmx:before:swap", () => {
  for (const element of document.querySelectorAll("main [id][style]")) element.removeAttribute("style");
});
document.addEventListener("htmx:after:process", (event) => {
  bind(/** @type {Element} */ (event.target));
});
