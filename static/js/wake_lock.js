// @ts-check
/**
 * Keeps the screen on while a trial runs or another phone may start one here, where the
 * phone allows it, and says honestly in `[data-wake]` whether it does. Timing never
 * depends on it.
 */

/** @type {any} */
let lock = null;
let runs = false;
const SHARED = ":is([data-helping], [data-helper]):not([data-over])";
const wanted = () => runs || Boolean(document.querySelector(SHARED));

/** @param {string} words */
function say(words) {
  for (const place of document.querySelectorAll("[data-wake]")) {
    place.textContent = words;
  }
}

async function ask() {
  if (!wanted() || document.hidden || (lock && !lock.released)) return;
  try {
    lock = await /** @type {any} */ (navigator).wakeLock.request("screen");
    lock.addEventListener("release", () => { if (wanted()) say(LOST); });
    if (wanted()) say("The screen stays on.");
    else letGo();
  } catch {
    lock = null;
    say(LOST);
  }
}

const LOST = "This phone may darken its screen. The time goes on.";

function letGo() {
  if (wanted()) return;
  lock?.release().catch(() => {}); // already released is as good
  lock = null;
  say("");
}

/** Once per page: a lost lock is asked for again on return and at the next touch. */
export function watchWakeLock() {
  document.addEventListener("stopwatch:start", () => { runs = true; ask(); });
  document.addEventListener("stopwatch:stop", () => { runs = false; letGo(); });
  document.addEventListener("help:over", letGo);
  document.addEventListener("visibilitychange", ask);
  document.addEventListener("pointerdown", ask);
  ask();
}
