// @ts-check
/**
 * Registers the service worker, which keeps the bedside sheet for when the network is
 * away, and says in `[data-worker]` what this phone can and cannot do. Nothing else
 * depends on it.
 */
import { watchUpdates } from "./update.js";

const PLAIN = "This address is not secure (http), so this phone cannot keep the bedside "
  + "sheet for use without network, and it may darken its screen. All else works.";
const NONE = "This browser cannot keep the bedside sheet: it needs the network. "
  + "All else works.";
const KEPT = "The bedside sheet is kept on this phone.";

/** @param {string} words */
function say(words) {
  for (const place of document.querySelectorAll("[data-worker]")) {
    place.textContent = words;
  }
}

/** Once per page. */
export async function startWorker() {
  if (!window.isSecureContext) return say(PLAIN);
  const { serviceWorker } = navigator;
  if (!serviceWorker) return say(NONE);
  try {
    const script = { updateViaCache: /** @type {const} */ ("none") };
    const registration = await serviceWorker.register("/sw.js", script);
    if (!registration) return say(NONE); // forbidden without a word
    watchUpdates(registration);
    const { active } = await serviceWorker.ready;
    // Loaded while the worker was: else the next version would not wait for this page.
    if (!serviceWorker.controller) active?.postMessage("claim");
    say(KEPT);
  } catch {
    say(NONE); // a certificate that is not trusted, a full disk, a policy
  }
}
