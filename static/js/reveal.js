// @ts-check
/** `[data-reveal]`: a button that shows a passphrase while it is being chosen. */

/** @param {HTMLElement} place */
export function reveal(place) {
  const button = place.querySelector("[data-show]");
  const input = place.querySelector("input");
  if (!(button instanceof HTMLElement) || !input) return;
  button.hidden = false;
  button.addEventListener("click", () => {
    const shown = input.type === "text";
    input.type = shown ? "password" : "text";
    button.textContent = shown ? "Show it" : "Hide it";
  });
  input.form?.addEventListener("submit", () => { input.type = "password"; });
}
