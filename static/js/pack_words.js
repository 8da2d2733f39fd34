// @ts-check
/** Words and small pieces of the pages that have to do with a day pack. */

export const GONE = "Today's people are no longer on this phone.";

/** Day and time as this phone writes them. @param {number} at */
export function moment(at) {
  const told = /** @type {const} */ (
    { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });
  return new Date(at).toLocaleString(undefined, told);
}

/**
 * What this browser lacks for a pack, in a sentence; empty when nothing.
 * @param {{isSecureContext: boolean, crypto?: any, indexedDB?: any, navigator: any}} here
 */
export function lacking(here) {
  if (!here.isSecureContext) {
    return "This address is not secure (http): a phone encrypts nothing here.";
  }
  if (!here.crypto?.subtle) return "This browser cannot encrypt.";
  if (!here.indexedDB) return "This browser keeps nothing on the phone.";
  if (!here.navigator.serviceWorker) {
    return "This browser cannot keep the bedside sheet, where a pack is opened.";
  }
  return "";
}

/** @template {keyof HTMLElementTagNameMap} T @param {T} tag @param {string} words */
export function made(tag, words, kind = "") {
  const element = document.createElement(tag);
  element.textContent = words;
  if (kind) element.className = kind;
  return element;
}

/** @param {string} words @param {string} kind @param {() => void} act */
export function button(words, kind, act) {
  const element = made("button", words, kind);
  element.type = "button";
  element.addEventListener("click", act);
  return element;
}

/** What follows a try, in a sentence. @param {number | undefined} left */
export function triesWords(left) {
  if (left === undefined) return GONE;
  if (left === 0) return `Five wrong PINs. ${GONE}`;
  const tries = left === 1 ? "1 try is" : `${left} tries are`;
  return `That is not the PIN. ${tries} left, then they are wiped from this phone.`;
}
