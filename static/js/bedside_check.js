// @ts-check
/** What cannot be right on the bedside sheet is said while it can still be mended. */

const NUMBER = /^\d{1,4}(\.\d{1,3})?$/;

/** Writes a comma as a point; the first field that is still no number. */
export function wrongNumber(/** @type {HTMLFormElement} */ form) {
  for (const element of form.querySelectorAll("input[inputmode=decimal]")) {
    const input = /** @type {HTMLInputElement} */ (element);
    input.value = input.value.trim().replace(",", ".");
    const wrong = input.value !== "" && !NUMBER.test(input.value);
    input.setCustomValidity(wrong ? "Write a plain number, like 17.5." : "");
    input.addEventListener("input", () => input.setCustomValidity(""), { once: true });
    if (wrong) return input;
  }
  return null;
}

/**
 * A reach that nobody can have, or marks the wrong way round: refused here, where it
 * can still be typed right.
 * @param {HTMLFormElement} form @param {Map<string, string>} said
 */
function wrongDistance(form, said) {
  const { lowest, highest } = form.dataset;
  const marks = [said.get("start_mark"), said.get("end_mark")].map(Number);
  const both = said.get("start_mark") && said.get("end_mark");
  if (both && marks[1] <= marks[0]) return "The end mark must lie past the start mark.";
  const typed = both ? marks[1] - marks[0] : Number(said.get("distance") ?? 0);
  const inches = said.get("unit") === "cm" ? typed / 2.54 : typed;
  const outside = inches < Number(lowest) || inches > Number(highest);
  if (!highest || !typed || said.has("typed") || said.has("raw_ms") || !outside) return "";
  return `${typed} ${said.get("unit") ?? ""} is outside what a trial can be (${lowest} to `
    + `${highest} in). Check the number and the unit.`;
}

/**
 * A count that nobody can have: refused here, where it can still be typed right.
 * @param {HTMLFormElement} form @param {Map<string, string>} said
 */
function wrongCount(form, said) {
  const { least, most } = form.dataset;
  const count = said.get("count") ?? "";
  if (!most || !count) return "";
  if (!/^\d{1,4}$/.test(count)) return "Write a whole number, like 12.";
  const outside = Number(count) < Number(least) || Number(count) > Number(most);
  return outside ? `${count} is outside what a trial can be (${least} to ${most}).` : "";
}

/**
 * A typed time that no trial is likely to take is asked about once; sent again as it is,
 * somebody stands by it.
 * @param {HTMLFormElement} form @param {Map<string, string>} said
 */
export function isUnlikely(form, said) {
  const far = wrongDistance(form, said) || wrongCount(form, said);
  if (far) return far;
  const { lowest, highest, standBy } = form.dataset;
  const typed = said.get("typed") ?? "";
  const outside = Number(typed) < Number(lowest) || Number(typed) > Number(highest);
  if (said.get("raw_ms") || !typed || !highest || !outside || standBy === typed) return "";
  form.dataset.standBy = typed;
  return `${typed} s is outside what is usual for this test (${lowest} to ${highest} s). `
    + "Save it once more to keep it as it is.";
}
