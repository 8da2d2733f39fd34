// @ts-check
/**
 * `[data-whole]`: a field as high as its words, in browsers whose style sheets cannot say
 * so (`field-sizing`). No line may lie below the edge where nobody looks for it.
 */

/** @param {HTMLTextAreaElement} field */
export function grow(field) {
  if (CSS.supports("field-sizing", "content")) return;
  let width = 0;
  const fit = () => {
    field.style.height = "auto";
    const edges = field.offsetHeight - field.clientHeight;
    field.style.height = `${field.scrollHeight + edges}px`;
  };
  for (const change of ["input", "change"]) field.addEventListener(change, fit);
  // Unfolded, or turned on its side: the words break anew.
  new ResizeObserver(() => {
    if (field.clientWidth === width) return;
    width = field.clientWidth;
    if (width) requestAnimationFrame(fit); // a height set in here would be complained of
  }).observe(field);
}
