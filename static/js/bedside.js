// @ts-check
/**
 * `[data-bedside]`: the bedside sheet, a list of tests of which the address names the one
 * in sight.
 */
import { listKept } from "./bedside_kept.js";
import * as store from "./bedside_store.js";
import { SheetTest } from "./bedside_test.js";

/** @param {HTMLElement} root */
export function bedside(root) {
  root.querySelector("[data-no-script]")?.remove();
  const tests = [...root.querySelectorAll("section[data-name]")]
    .map((section) => new SheetTest(/** @type {HTMLElement} */ (section)));
  const choose = () => {
    const wanted = tests.find((test) => `#${test.measure}` === location.hash);
    if (!wanted && location.hash.length > 1) return; // a place on the same page
    root.querySelector("[data-list]")?.toggleAttribute("hidden", Boolean(wanted));
    for (const test of tests) {
      test.show(test === wanted);
      const open = root.querySelector(`[data-runs=${test.measure}]`);
      open?.toggleAttribute("hidden", !test.runs());
    }
    listKept(root);
    scrollTo(0, 0);
  };
  window.addEventListener("hashchange", choose);
  document.addEventListener("trial:withdraw", async (event) => { // an undone stop
    await store.forget(/** @type {CustomEvent} */ (event).detail.uid);
    for (const test of tests) test.list();
  });
  choose();
}
