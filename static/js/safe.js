// @ts-check
/**
 * What to do first after "Stop - make safe": in the page already, so that it shows at
 * the touch, with a network or without. The server's panel takes its place.
 */

export function showFirstSteps() {
  const steps = document.querySelector("[data-first-steps]");
  if (!(steps instanceof HTMLElement)) return;
  steps.hidden = false;
  steps.scrollIntoView({ block: "start" });
}

/** Once per page. */
export function watchFirstSteps() {
  document.addEventListener("click", ({ target }) => {
    if (target instanceof Element && target.closest("[data-stop-set]")) showFirstSteps();
  });
  document.addEventListener("htmx:after:swap", () => {
    const steps = document.querySelector("[data-first-steps]");
    if (document.getElementById("make-safe")) steps?.setAttribute("hidden", "");
  });
}
