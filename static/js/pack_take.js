// @ts-check
/**
 * `[data-pack-take]`: takes today's people along on this phone, renews or forgets them,
 * and says what is missing where it cannot.
 */
import { post, words } from "./asking.js";
import { forgetPack, lookAtPack } from "./pack_guard.js";
import { sealed } from "./pack_seal.js";
import { keepPack } from "./pack_store.js";
import { lacking, moment } from "./pack_words.js";

const WORKER_MS = 5_000;
const NO_ANSWER = "No answer from the server. Nothing was taken: try again where there is "
  + "network.";
const NOT_KEPT = "This phone could not keep it: its storage is full or switched off.";

/** Whether the sheet will be there without a network. */
function sheetIsKept() {
  const { ready } = navigator.serviceWorker;
  const late = new Promise((done) => { setTimeout(done, WORKER_MS, null); });
  return Promise.race([ready, late]);
}

/** @param {HTMLElement} place */
export async function packTake(place) {
  const part = (/** @type {string} */ name) =>
    /** @type {HTMLElement | null} */ (place.querySelector(`[data-pack-${name}]`));
  const say = (/** @type {string} */ name, /** @type {string} */ said) => {
    const there = part(name);
    if (!there) return;
    there.textContent = said;
    there.hidden = !said;
  };
  part("no-script")?.remove();
  const stamp = place.dataset.stamp ?? "";
  const show = async () => {
    const seal = await lookAtPack(stamp);
    say("when", seal ? `On this phone: taken ${moment(seal.taken)}, good until `
      + `${moment(seal.until)}.` : "Nothing is on this phone.");
    part("held")?.toggleAttribute("hidden", !seal);
  };
  const lacks = lacking(window)
    || ((await sheetIsKept()) ? "" : "This phone did not keep the bedside sheet, where "
      + "a pack is opened. Load this page again.");
  say("missing", lacks);
  if (lacks) return;
  await show();
  const form = /** @type {HTMLFormElement | null} */ (part("form"));
  form?.toggleAttribute("hidden", false);
  form?.addEventListener("submit", async (event) => {
    event.preventDefault();
    say("wrong", "");
    say("wrong", await take(form).catch(() => NO_ANSWER));
    form.dispatchEvent(new CustomEvent("htmx:finally:request", { bubbles: true }));
    await show();
  });
  part("forget")?.addEventListener("click", () => forgetPack().then(show));
}

/** What went wrong; empty when it is on the phone. @param {HTMLFormElement} form */
async function take(form) {
  const pin = String(new FormData(form).get("pin") ?? "").trim();
  form.reset();
  const asked = Date.now();
  const answer = await post("/pack", new URLSearchParams({ pin }));
  // The fifth wrong PIN ends it.
  await lookAtPack(answer.headers.get("tapeline-pack") ?? "").catch(() => null);
  if (!answer.headers.get("content-type")?.startsWith("application/json")) {
    return words(await answer.text());
  }
  const told = await answer.json();
  if (!answer.ok) return told.wrong;
  const about = { taken: asked, until: asked + told.lasts_ms, stamp: told.stamp };
  const pack = await sealed(pin, told.people, about);
  return keepPack(pack).then(() => "", () => NOT_KEPT);
}
