// @ts-check
/** A passphrase on its way to the server, and what is said when it does not arrive. */
import { post, words } from "./asking.js";
import { free } from "./busy.js";

const NO_ANSWER = "No answer from Tapeline. What is on this page stays, a trial goes on "
  + "and what you stop is kept. Try again when there is a network.";
/** How long a passphrase stays in its field while there is no network. */
const TYPED_MS = 30_000;

/**
 * A wrong PIN may have been the last: then the day pack it opens goes as well.
 * @param {Response} response
 */
async function watchPack(response) {
  const stamp = response.headers.get("tapeline-pack");
  if (stamp) await import("./pack_guard.js").then((guard) => guard.lookAtPack(stamp));
}

/**
 * Sends a form with a passphrase; what is wrong with it is said in it and returned.
 * @param {HTMLFormElement} form @param {string} path
 */
export async function passphrase(form, path) {
  const said = form.querySelector("[data-wrong]");
  let [wrong, away] = ["", false];
  try {
    const response = await post(path, new URLSearchParams(/** @type {any} */ (new FormData(form))));
    watchPack(response).catch(() => {});
    if (!response.ok) wrong = words(await response.text());
  } catch {
    away = true;
    wrong = NO_ANSWER;
  }
  free(form);
  const input = form.querySelector("input[type=password]");
  if (said) said.textContent = wrong;
  if (input instanceof HTMLInputElement) {
    const empty = () => { input.value = ""; };
    if (away) setTimeout(empty, TYPED_MS); // typed once, but not left lying there
    else empty();
    input.toggleAttribute("aria-invalid", Boolean(wrong));
    if (wrong) input.focus();
  }
  return wrong;
}
