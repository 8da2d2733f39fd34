// @ts-check
/**
 * Nobody touches the phone for `data-idle-minutes`: its page is covered. A running
 * trial goes on: its clock, its stop and "make safe" lie over the cover, and what they
 * save is stored. The passphrase takes the cover away.
 */
import { person, post } from "./asking.js";
import { free } from "./busy.js";
import { withStore } from "./kept.js";
import { passphrase } from "./passphrase.js";
import { renewed, signInAgain } from "./session.js";

const CHECK_MS = 5_000;
const SEEN_MS = 60_000;
/** When any tab was touched last, and whose lock the server has not heard of. */
const TOUCHED = "tapeline.touched";
const UNTOLD = "tapeline.locked";
let touched = Date.now();
let told = Date.now();
let title = "";

const cover = () => /** @type {HTMLElement | null} */ (document.querySelector("[data-cover]"));
const isLocked = () => document.body.classList.contains("locked");
const idleMs = () => 60_000 * Number(document.body.dataset.idleMinutes ?? 0);

function touch() {
  if (isLocked()) return;
  const now = Date.now();
  const moved = now - touched > 1_000;
  touched = now;
  if (moved) withStore((store) => store.setItem(TOUCHED, String(now)));
  if (now - told < SEEN_MS) return;
  told = now; // the server counts requests, not touches
  fetch("/session").catch(() => {});
}

function check() {
  const elsewhere = Number(withStore((store) => store.getItem(TOUCHED)) ?? 0);
  const idle = Date.now() - Math.max(touched, Math.min(elsewhere, Date.now()));
  if (idleMs() && !isLocked() && idle >= idleMs()) lock();
}

/** Covers first, then tells the server, now or when it can be reached. */
export async function lock() {
  close();
  withStore((store) => store.setItem(UNTOLD, person()));
  await tell();
}

async function tell() {
  if (withStore((store) => store.getItem(UNTOLD)) !== person()) return;
  close();
  const answer = await post("/lock", new URLSearchParams()).catch(() => null);
  if (answer) withStore((store) => store.removeItem(UNTOLD));
}

function close() {
  const over = cover();
  if (!over || isLocked()) return;
  for (const dialog of document.querySelectorAll("dialog[open]")) {
    if (!dialog.matches("[data-sign-in]")) /** @type {HTMLDialogElement} */ (dialog).close();
  }
  title = document.title;
  document.title = "Locked · Tapeline";
  document.body.classList.add("locked");
  // Hidden things take no touch; beside a stopwatch or a set the red button stays in reach.
  const watch = document.querySelector("form[data-stopwatch], [data-stop-set]");
  document.querySelector(".page")?.toggleAttribute("inert", !watch);
  over.hidden = false;
  over.querySelector("h2")?.focus();
}

function open() {
  const over = cover();
  if (!over || !isLocked()) return;
  withStore((store) => store.removeItem(UNTOLD));
  document.title = title;
  document.body.classList.remove("locked");
  document.querySelector(".page")?.removeAttribute("inert");
  over.hidden = true;
  touched = Date.now();
  document.getElementById("main")?.focus({ preventScroll: true });
  document.dispatchEvent(new Event("lock:open"));
}

/** @param {SubmitEvent} event */
async function unlock(event) {
  event.preventDefault();
  const form = /** @type {HTMLFormElement} */ (event.target);
  const { status } = await fetch("/session").catch(() => ({ status: 0 }));
  if (status === 401) return void signInAgain(); // over: "session:renewed" opens
  await tell(); // else the server would not know that there is a lock
  if (!(await passphrase(form, "/unlock"))) renewed();
}

/** "Lock" in the menu. @param {SubmitEvent} event */
function byHand(event) {
  const form = /** @type {HTMLFormElement} */ (event.target);
  if (form.getAttribute("action") !== "/lock") return;
  event.preventDefault();
  free(form);
  form.closest("details")?.removeAttribute("open");
  lock();
}

/** Once per page. */
export function watchLock() {
  const over = cover();
  if (!over || "locked" in document.body.dataset) return; // the server says it itself
  document.addEventListener("submit", byHand);
  for (const name of ["pointerdown", "keydown"]) {
    document.addEventListener(name, touch, { capture: true, passive: true });
  }
  for (const form of over.querySelectorAll("form[action='/unlock']")) {
    form.addEventListener("submit", (event) => unlock(/** @type {SubmitEvent} */ (event)));
  }
  document.addEventListener("session:locked", close);
  document.addEventListener("session:renewed", open);
  document.addEventListener("visibilitychange", check);
  window.setInterval(check, CHECK_MS);
  tell();
}
