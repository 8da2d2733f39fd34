// @ts-check
/**
 * What a `[data-caller]` was told to call, from its `[data-option=NAME]` fields, and in
 * which size a call is shown.
 */

/** A number as typed, within its limits; what is none is as usual.
 * @param {string} text @param {number} low @param {number} high @param {number} usual */
export function within(text, low, high, usual) {
  const typed = Number.parseFloat(text.replace(",", "."));
  return Number.isFinite(typed) ? Math.min(high, Math.max(low, typed)) : usual;
}

const SIZES = /** @type {[number, string][]} */ ([[2, "short"], [5, "no"], [9, "yes"]]);

/** Longer words in smaller letters, so that they fit a phone. @param {string} words */
export function sizeOf(words) {
  const longest = Math.max(...words.split(/\s/).map(({ length }) => length));
  return SIZES.find(([letters]) => longest <= letters)?.[1] ?? "very";
}

/** @param {HTMLElement} place @param {string} name */
function option(place, name) {
  const all = [...place.querySelectorAll(`[data-option=${name}]`)];
  const fields = /** @type {HTMLInputElement[]} */ (all);
  const field = fields.find(({ type, checked }) => type !== "radio" || checked);
  return field?.type === "checkbox" ? String(field.checked) : field?.value ?? "";
}

/** An empty seed is a new one. @param {HTMLElement} place */
export function optionsOf(place) {
  const { caller: kind = "", choices = "[]" } = place.dataset;
  const said = (/** @type {string} */ name) => option(place, name);
  const number = (/** @type {string} */ name, /** @type {[number, number, number]} */ ...limits) =>
    within(said(name), ...limits);
  const whole = (/** @type {string} */ name, /** @type {[number, number, number]} */ ...limits) =>
    Math.round(number(name, ...limits));
  const seed = crypto.getRandomValues(new Uint16Array(1))[0] % 10_000;
  return {
    kind, choices: /** @type {string[]} */ (JSON.parse(choices)),
    calls: whole("calls", 1, 60, 10), seed: whole("seed", 0, 9999, seed),
    noRepeat: said("no-repeat") === "true", even: said("even") === "true",
    stops: whole("stops", 0, 90, 25), rule: said("rule") || "same",
    length: whole("length", 1, 9, 3), by: Number(said("by") || 1),
    pace: 1000 * number("pace", 1, 10, 2), speaks: said("speak") === "true",
  };
}
