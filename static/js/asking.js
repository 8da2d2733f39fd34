// @ts-check
/** What a script of this page says of itself when it asks the server something. */

/** Whose page this is, by id; empty when nobody is signed in. */
export function person() {
  return document.body.dataset.person ?? "";
}

/**
 * The server answers a script by status alone, and refuses what another person's
 * session would have sent from this page.
 * @param {string} url @param {URLSearchParams} body @param {AbortSignal} [signal]
 */
export function post(url, body, signal) {
  const headers = { "HX-Request": "true", "Tapeline-Person": person() };
  return fetch(url, { method: "POST", headers, body, signal });
}

/** A trial that must not be disturbed, up to the answer to its stop. */
export function underWay() {
  return Boolean(document.querySelector(
    "form[data-stopwatch]:is([data-state=running], [data-state=delay], [data-state=sending]),"
    + " [data-helper][data-state=running]"));
}

/** The words of a piece of a page. @param {string} html */
export function words(html) {
  const { body } = new DOMParser().parseFromString(html, "text/html");
  const said = body.querySelector(".error, #wrong") ?? body;
  return said.textContent?.replace(/\s+/g, " ").trim().slice(0, 300) || "Not accepted.";
}

/** @type {Promise<unknown>} */
let turn = Promise.resolve();

/**
 * One after another in this tab. Another tab may send the same item at the same time:
 * each keeps the order, and the server knows a repeat.
 * @template T @param {() => Promise<T>} work @returns {Promise<T>}
 */
export function inTurn(work) {
  const next = turn.then(work);
  turn = next.catch(() => {});
  return next;
}

/**
 * A button that does nothing at the first tap but ask once more.
 * @param {HTMLElement} button
 * @param {() => void} act
 */
export function onSecondTap(button, act) {
  let asked = false;
  const words = button.textContent;
  button.addEventListener("click", () => {
    if (asked) act();
    asked = !asked;
    button.textContent = asked ? "Discard it for good?" : words;
  });
}
