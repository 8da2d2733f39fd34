// @ts-check
/**
 * `[data-ready]`: a row is right, or it is not, never both; untouched is neither.
 * `button[data-tick-all]` ticks every row of its list that nobody has marked "not ok".
 */

/** @param {HTMLElement} row */
export function bindReadyRow(row) {
  const boxes = [...row.querySelectorAll("input")];
  row.addEventListener("change", (event) => {
    const changed = /** @type {HTMLInputElement} */ (event.target);
    if (!changed.checked) return;
    for (const box of boxes) box.checked = box === changed;
  });
}

/** @param {HTMLElement} button */
export function bindTickAll(button) {
  button.hidden = false; // of no use without script
  button.addEventListener("click", () => {
    for (const row of button.closest("form")?.querySelectorAll("[data-ready]") ?? []) {
      const [ok, not] = row.querySelectorAll("input");
      if (!not?.checked) ok.checked = true;
    }
  });
}
