// @ts-check
/** Ids made on the phone: a repeated send of one record is then known as a repeat. */

export function newUid() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

/** @param {HTMLInputElement} input */
export function fillUid(input) {
  input.value ||= newUid();
}
