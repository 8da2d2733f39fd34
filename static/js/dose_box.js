// @ts-check
/**
 * `[data-dose-box]`: as wide as the sessions that fit whole, the latest at the right, so
 * that no word is cut at its edge; and the line over it that says there is more.
 */

/** How wide the box may be for whole sessions only; 0: as it is.
 * @param {number} room in pixels, beside the axis @param {number[]} widths oldest first */
export function wholeSessions(room, widths) {
  let taken = 0;
  for (const width of [...widths].reverse()) {
    if (taken + width > room + 1) return taken;
    taken += width;
  }
  return 0;
}

/** @param {HTMLElement} box */
export function doseBox(box) {
  const axis = box.querySelector(".dose.axis")?.getBoundingClientRect().width ?? 0;
  const columns = [...box.querySelectorAll(".dose-stops i")];
  const fit = () => {
    box.style.maxWidth = "";
    /** @type {number[]} */
    const widths = [];
    for (const column of columns) {
      if (column.matches(".begins")) widths.push(0);
      widths[widths.length - 1] += column.getBoundingClientRect().width;
    }
    const room = box.clientWidth - axis;
    const whole = wholeSessions(room, widths);
    if (whole) box.style.maxWidth = `${Math.ceil(axis + whole)}px`;
    const more = box.scrollWidth > box.clientWidth + 1;
    const says = box.previousElementSibling;
    if (says?.matches("[data-older]")) says.toggleAttribute("hidden", !more);
  };
  fit();
  window.addEventListener("resize", fit);
}
