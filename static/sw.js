// @ts-check
/**
 * The service worker: keeps the bedside sheet and the files it needs, and nothing else.
 *
 * No page of a patient is ever stored. Pages come from the network; when it fails, the
 * sheet answers in their place. Only GET passes through here: what changes something is
 * left to the browser, whose own word on where it came from the server relies on.
 *
 * The server writes VERSION, SHEET and FILES before the first line, and js/pack_guard.js.
 */
/* global VERSION, SHEET, FILES, lookAtPack */
const worker = /** @type {any} */ (self);
const CACHE = `tapeline-${VERSION}`;
/** A network that gives no answer for this long is as good as none. */
const LONGEST_MS = 10_000;
const ANSWER_MS = 2_000;

worker.addEventListener("install", (/** @type {any} */ event) => {
  event.waitUntil(fill()); // all of one edition, or the old one stays
});
worker.addEventListener("activate", (/** @type {any} */ event) => {
  event.waitUntil(Promise.all([removeOld(), lookAtPack()]));
});
worker.addEventListener("fetch", (/** @type {any} */ event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (request.method !== "GET" || origin !== location.origin) return;
  if (request.mode === "navigate") navigate(event);
  else if (pathname.startsWith("/static/")) event.respondWith(file(request));
});
worker.addEventListener("message", (/** @type {any} */ event) => {
  if (event.data === "use-update") event.waitUntil(useUpdate(event.source));
  if (event.data === "claim") event.waitUntil(worker.clients.claim());
});

async function fill() {
  const cache = await caches.open(CACHE);
  // Without the cookie, so that the sheet is nobody's.
  const sheet = new Request(SHEET, { credentials: "omit", cache: "reload" });
  await cache.addAll([sheet, ...FILES]);
}

async function removeOld() {
  const names = await caches.keys();
  const old = names.filter((name) => name.startsWith("tapeline-") && name !== CACHE);
  await Promise.all(old.map((name) => caches.delete(name)));
  await worker.clients.claim(); // the next version waits for these pages too
}

/** @param {string | Request} wanted */
async function kept(wanted) {
  return (await caches.open(CACHE)).match(wanted, { ignoreVary: true });
}

/** @param {Request} request */
async function file(request) {
  return (await kept(request)) ?? fetch(request);
}

/** @param {any} event */
function navigate(event) {
  const page = fetch(event.request);
  event.waitUntil(watchPack(page));
  event.respondWith(pageOrSheet(page));
}

/** @param {Promise<Response>} page */
async function pageOrSheet(page) {
  try {
    return await Promise.race([page, silence()]);
  } catch {
    return (await sheetWithoutNetwork()) ?? page;
  }
}

/** A day pack may lie here for its time and for one sign-in; each page tells which.
 * @param {Promise<Response>} page */
async function watchPack(page) {
  await lookAtPack(); // time passes without a network too
  const answer = await page.catch(() => null);
  await lookAtPack(answer?.headers.get("tapeline-pack") ?? "");
}

/** @returns {Promise<never>} */
function silence() {
  return new Promise((_, fail) => setTimeout(fail, LONGEST_MS));
}

/** The sheet, with its line on the missing network in sight. */
async function sheetWithoutNetwork() {
  const sheet = await kept(SHEET);
  if (!sheet) return null;
  const text = (await sheet.text()).replace("data-no-network hidden", "data-no-network");
  const headers = new Headers(sheet.headers);
  headers.delete("content-length");
  headers.delete("content-encoding");
  return new Response(text, { headers });
}

/**
 * Never by itself and never during a trial: a page asked for it, and every open page is
 * asked whether a trial runs.
 * @param {any} asker
 */
async function useUpdate(asker) {
  const pages = await worker.clients.matchAll(
    { type: "window", includeUncontrolled: true },
  );
  const answers = await Promise.all(pages.map(ask));
  const idle = answers.includes("idle") && !answers.includes("running");
  if (idle) await worker.skipWaiting();
  else asker?.postMessage("update-waits");
}

/** "idle", "running", or "" from a page that sleeps. @param {any} page */
function ask(page) {
  return new Promise((answer) => {
    const { port1, port2 } = new MessageChannel();
    port1.onmessage = (event) => answer(event.data);
    setTimeout(answer, ANSWER_MS, "");
    page.postMessage("running?", [port2]);
  });
}
