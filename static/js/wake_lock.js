// @ts-check
/**
 * Keeps the screen on while a trial runs, where the phone allows it, and says honestly
 * in `[data-wake]` whether it does. Timing never depends on it.
 */

/** @type {any} */
let lock = null;
let wanted = false;

/** @param {string} words */
function say(words) {
  for (const place of document.querySelectorAll("[data-wake]")) {
    place.textContent = words;
  }
}

async function ask() {
  if (!wanted || document.hidden || (lock && !lock.released)) return;
  try {
    lock = await /** @type {any} */ (navigator).wakeLock.request("screen");
    lock.addEventListener("release", () => { if (wanted) say(LOST); });
    if (wanted) say("The screen stays on.");
    else letGo();
  } catch {
    lock = null;
    say(LOST);
  }
}

const LOST = "This phone may darken its screen. The time goes on.";

function letGo() {
  wanted = false;
  lock?.release().catch(() => {}); // already released is as good
  lock = null;
  say("");
}

/** Once per page: a lost lock is asked for again on return and at the next touch. */
export function watchWakeLock() {
  document.addEventListener("stopwatch:start", () => { wanted = true; ask(); });
  document.addEventListener("stopwatch:stop", letGo);
  document.addEventListener("visibilitychange", ask);
  document.addEventListener("pointerdown", ask);
}
