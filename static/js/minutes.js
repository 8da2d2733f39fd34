// @ts-check
/** `[data-minutes]`: minutes of an open visit as the server counted them, going on by the minute. */

/** @param {HTMLElement} element */
export function minutes(element) {
  const start = performance.now();
  setInterval(() => {
    const passed = Math.floor((performance.now() - start) / 60_000);
    element.textContent = String(Number(element.dataset.minutes) + passed);
  }, 15_000);
}
