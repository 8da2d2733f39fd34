// @ts-check
/** Attaches each behaviour to its `data-*` elements, on load and after htmx swaps. */
import { watchBusy } from "./busy.js";
import { bindCounter } from "./counter.js";
import { forgetSaved } from "./kept.js";
import { bindReadyRow, bindTickAll } from "./ready.js";
import { bindStepper } from "./stepper.js";
import { stopwatch } from "./stopwatch_bind.js";
import { watchTrouble } from "./trouble.js";
import { fillUid } from "./uid.js";
import { watchWakeLock } from "./wake_lock.js";

/** In this order: a time the server holds is forgotten before a stopwatch looks for it.
 * @type {[string, (element: any) => void][]} */
const BEHAVIOURS = [
  ["[data-saved]", forgetSaved],
  ["input[data-uid]", fillUid],
  ["form[data-stopwatch]", stopwatch],
  ["[data-stepper]", bindStepper],
  ["[data-counter]", bindCounter],
  ["[data-ready]", bindReadyRow],
  ["[data-tick-all]", bindTickAll],
];
const bound = new WeakMap(BEHAVIOURS.map(([, act]) => [act, new WeakSet()]));

/** @param {ParentNode} root */
function bind(root) {
  for (const [selector, act] of BEHAVIOURS) {
    const inside = [...root.querySelectorAll(selector)];
    if (root instanceof Element && root.matches(selector)) inside.unshift(root);
    for (const element of inside) {
      if (bound.get(act)?.has(element)) continue;
      bound.get(act)?.add(element);
      act(element);
    }
  }
}

watchBusy();
watchWakeLock();
watchTrouble();
bind(document);
document.addEventListener("htmx:after:process", (event) => {
  bind(/** @type {Element} */ (event.target));
});
