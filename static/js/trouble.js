// @ts-check
/** Says what went wrong where it is seen and heard: in #message or at the field. */

const NO_ANSWER = "No answer from Tapeline. What you entered is still here. Try again.";

/** Once per page. */
export function watchTrouble() {
  document.addEventListener("htmx:error", (event) => {
    const ctx = /** @type {CustomEvent} */ (event).detail?.ctx;
    if (ctx && !ctx.response) tell(NO_ANSWER);
  });
  document.addEventListener("htmx:before:request", () => tell(""));
  document.addEventListener("htmx:after:swap", (event) => {
    const { ctx } = /** @type {CustomEvent} */ (event).detail;
    if (ctx.response?.status >= 400) show();
  });
  firstWrong()?.focus();
}

/** @param {string} words */
export function tell(words) {
  const message = document.getElementById("message");
  if (!message) return;
  message.textContent = words;
  if (words) show();
}

/** @returns {HTMLElement | null} */
function firstWrong() {
  return document.querySelector("[aria-invalid=true]");
}

function show() {
  const wrong = firstWrong() ?? document.getElementById("message");
  wrong?.focus();
  wrong?.scrollIntoView({ block: "nearest" });
}
