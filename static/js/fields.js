// @ts-check
/**
 * Parts and fields of a form by their name. Parts say in which states they are seen with
 * `data-when="idle running"`.
 */

/** @param {HTMLFormElement} form @param {string} name @returns {HTMLElement | null} */
export function part(form, name) {
  return form.querySelector(`[data-${name}]`);
}

/** @param {HTMLFormElement} form @param {string} name @param {string} words */
export function say(form, name, words) {
  const place = part(form, name);
  if (place && place.textContent !== words) place.textContent = words;
}

/** @param {HTMLFormElement} form @param {string} name */
function field(form, name) {
  const input = form.querySelector(`input[name="${name}"]`);
  return /** @type {HTMLInputElement | null} */ (input);
}

/** @param {HTMLFormElement} form @param {string} name */
export function valueOf(form, name) {
  return field(form, name)?.value ?? "";
}

/** @param {HTMLFormElement} form @param {Record<string, string>} values */
export function fill(form, values) {
  for (const [name, value] of Object.entries(values)) {
    const input = field(form, name);
    if (input) input.value = value;
  }
}

/** @param {HTMLElement} place @param {string} state */
export function see(place, state) {
  place.dataset.state = state;
  for (const seen of place.querySelectorAll("[data-when]")) {
    const states = seen.getAttribute("data-when")?.split(" ") ?? [];
    seen.toggleAttribute("hidden", !states.includes(state));
  }
}
