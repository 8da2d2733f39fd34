// @ts-check
/**
 * Encrypts a day pack and opens it again. Pure: no storage, no clock, no page.
 *
 * A random key for each pack encrypts it (AES-256-GCM). That key is encrypted by one
 * that needs both the PIN and a key of this browser that scripts cannot read:
 *
 *   slow = PBKDF2-SHA-256(PIN, salt)      lock = HMAC-SHA-256(browser's key, slow)
 *
 * So what lies in the storage, without the browser's own key, tells nothing of a PIN,
 * and each guess has to pass the browser. What DEVELOPERS.md says of its limits counts.
 * The times and the stamp are bound to both texts: changed ones open nothing.
 *
 * @typedef {import("./pack_guard.js").Seal} Seal
 * @typedef {{key: CryptoKey, seal: Seal, body: {iv: Uint8Array, text: ArrayBuffer}}} Pack
 * @typedef {{until: number, taken: number, stamp: string}} About
 */

/** OWASP's Password Storage Cheat Sheet for PBKDF2-HMAC-SHA256 (read 30 Nov 2026). */
export const ROUNDS = 600_000;
const { subtle } = globalThis.crypto ?? {};
const HASH = "SHA-256";

/** @param {number} length */
const random = (length) => crypto.getRandomValues(new Uint8Array(length));
/** @param {string} text */
const bytes = (text) => new TextEncoder().encode(text);
/** @param {About} about */
const bound = ({ until, taken, stamp }) => bytes(JSON.stringify([1, until, taken, stamp]));

/** @param {BufferSource} raw */
const cipherKey = (raw) =>
  subtle.importKey("raw", raw, "AES-GCM", false, ["encrypt", "decrypt"]);

/** @param {string} pin @param {CryptoKey} key @param {Pick<Seal, "salt" | "rounds">} how */
async function lockOf(pin, key, { salt, rounds }) {
  const typed = await subtle.importKey("raw", bytes(pin), "PBKDF2", false, ["deriveBits"]);
  const how = { name: "PBKDF2", hash: HASH, salt, iterations: rounds };
  const slow = await subtle.deriveBits(how, typed, 256);
  return cipherKey(await subtle.sign("HMAC", key, slow));
}

/**
 * @param {string} pin @param {unknown} people @param {About} about
 * @param {number} [rounds]
 * @returns {Promise<Pack>}
 */
export async function sealed(pin, people, about, rounds = ROUNDS) {
  const given = { name: "HMAC", hash: HASH };
  const key = /** @type {CryptoKey} */ (await subtle.generateKey(given, false, ["sign"]));
  const [salt, iv, bodyIv, own] = [random(16), random(12), random(12), random(32)];
  const additionalData = bound(about);
  const lock = await lockOf(pin, key, { salt, rounds });
  const wrapped = await subtle.encrypt({ name: "AES-GCM", iv, additionalData }, lock, own);
  const text = await subtle.encrypt(
    { name: "AES-GCM", iv: bodyIv, additionalData },
    await cipherKey(own), bytes(JSON.stringify(people)));
  own.fill(0);
  const seal = /** @type {Seal} */ (
    { v: 1, ...about, seen: about.taken, wrong: 0, rounds, salt, iv, wrapped });
  return { key, seal, body: { iv: bodyIv, text } };
}

/** What was sealed; null for a wrong PIN, another browser's key or a changed seal.
 * @param {string} pin @param {Pack} pack */
export async function unsealed(pin, { key, seal, body }) {
  const additionalData = bound(seal);
  try {
    const lock = await lockOf(pin, key, seal);
    const own = await subtle.decrypt(
      { name: "AES-GCM", iv: seal.iv, additionalData }, lock, seal.wrapped);
    const text = await subtle.decrypt(
      { name: "AES-GCM", iv: body.iv, additionalData }, await cipherKey(own), body.text);
    return JSON.parse(new TextDecoder().decode(text));
  } catch {
    return null;
  }
}
