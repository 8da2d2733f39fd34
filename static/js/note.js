// @ts-check
/**
 * A note: `[data-note-line]` shows what is typed in its field, offers the words that state
 * a skill, and puts a line back; `[data-open-line]` opens one, `[data-copy]` copies and
 * `[data-print]` prints. Saving is taps.js's.
 */

/** @param {HTMLElement} line */
export function noteLine(line) {
  const field = line.querySelector("textarea");
  const shown = /** @type {HTMLElement | null} */ (line.querySelector("[data-shown]"));
  const details = line.querySelector("details");
  if (!field || !shown || !details) return;
  const show = () => { shown.textContent = field.value.trim() || shown.dataset.empty || ""; };
  field.addEventListener("input", show);
  const put = (/** @type {string} */ words) => {
    field.value = words;
    show();
    field.dispatchEvent(new Event("change", { bubbles: true }));
  };
  for (const button of line.querySelectorAll("[data-put]")) {
    button.addEventListener("click", (event) => {
      event.preventDefault(); // without script it is sent as a button of the form
      put(/** @type {HTMLElement} */ (button).dataset.put ?? "");
    });
  }
  details.addEventListener("toggle", () => {
    if (!details.open) return;
    offerVerbs(line, field);
    field.focus({ preventScroll: true });
  });
}

/** @param {HTMLElement} line @param {HTMLTextAreaElement} field */
function offerVerbs(line, field) {
  const place = line.querySelector("[data-verbs-here]:empty");
  const all = document.querySelector("template[data-verbs]");
  if (!place || !(all instanceof HTMLTemplateElement)) return;
  place.append(all.content.cloneNode(true));
  const asks = place.querySelector("[data-verb-asks]");
  place.addEventListener("click", (event) => {
    const button = /** @type {Element} */ (event.target).closest("[data-verb]");
    if (!(button instanceof HTMLElement)) return;
    insert(field, button.dataset.verb ?? "");
    if (asks) asks.textContent = `${button.dataset.verb}: ${button.dataset.follows}`;
  });
}

/** At the cursor, with blanks round it. @param {HTMLTextAreaElement} field @param {string} word */
function insert(field, word) {
  const at = field.selectionEnd ?? field.value.length;
  const before = field.value.slice(0, at);
  const space = before && !/\s$/.test(before) ? " " : "";
  field.focus({ preventScroll: true });
  field.setRangeText(`${space}${word} `, at, at, "end");
  for (const name of ["input", "change"]) {
    field.dispatchEvent(new Event(name, { bubbles: true }));
  }
}

/** Where a tap led before this was loaded: once, since saving puts the link there anew. */
let led = location.hash;

/** A link to a line opens it. @param {HTMLAnchorElement} link */
export function openLine(link) {
  const open = () => {
    const details = document.querySelector(link.hash)?.querySelector("details");
    if (details) details.open = true;
  };
  link.addEventListener("click", open);
  if (link.hash === led) open();
  led = "";
}

/** @param {HTMLElement} button */
export function copy(button) {
  const whole = button.dataset.copy && document.querySelector(button.dataset.copy);
  const part = button.closest("[data-copy-from]");
  button.addEventListener("click", async () => {
    const text = whole instanceof HTMLTextAreaElement ? whole.value : linesOf(part);
    const said = document.querySelector("[data-copied]");
    try {
      await navigator.clipboard.writeText(text);
      if (said) said.textContent = `Copied: ${text.split("\n").filter(Boolean).length} lines.`;
    } catch { // no clipboard without a safe address, or refused
      const box = document.querySelector("#plain");
      if (box instanceof HTMLDetailsElement) box.open = true;
      const field = /** @type {HTMLTextAreaElement | null} */ (document.querySelector("#note-plain"));
      field?.select();
      if (said) said.textContent = "This browser does not let a page copy: the text is marked below.";
    }
  });
}

/** @param {Element | null} part */
function linesOf(part) {
  const lines = [...(part?.querySelectorAll("h2, p") ?? [])].map((line) =>
    `${line.textContent?.trim()}${line.tagName === "H2" ? ":" : ""}`);
  return `${lines.join("\n")}\n`;
}

/** @param {HTMLElement} button */
export function print(button) {
  button.addEventListener("click", () => window.print());
}
