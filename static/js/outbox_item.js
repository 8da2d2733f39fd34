// @ts-check
/**
 * One trial that waits on this phone: what is in it, its words, and what an answer to
 * it means. Ids, times, numbers and outcome words only. No page and no disk here.
 *
 * @typedef {{v: number, uid: string, url: string, fields: [string, string][],
 *   person: string, round: string, test: string, at: number, tries: number,
 *   said?: string, undone?: string}} Item
 *   `said`: why the server would not take it; `undone`: void it once it is there.
 * @typedef {"sent" | "sign in" | "needs you" | "wait"} Verdict
 */
import { tenths } from "./timing.js";

export const VERSION = 1;
/** From a version to the next. A program reads what the three before it have written.
 * @type {Record<number, (item: any) => any>} */
const UPGRADES = {};
const NEWER = "Kept by a newer version of this program. It is sent once that is back.";
const SHORTEST_WAIT = 5_000;
const LONGEST_WAIT = 60_000;
const ENDINGS = {
  stopped: "stopped for safety", unable: "unable", declined: "declined",
  not_done: "not done",
};
/** What is said of a set that waits. */
const COUNTED = ["reps", "steps", "passes", "calls", "hazards", "errors"];

/**
 * @param {[string, string][]} fields
 * @param {{url: string, person: string, test: string, at: number}} about
 * @returns {Item}
 */
export function makeItem(fields, { url, person, test, at }) {
  const uid = new Map(fields).get("uid") ?? "";
  fields = [...fields, ["taken_at", String(at)]]; // what is typed has no clocks
  return { v: VERSION, uid, url, fields, person, round: roundOf(url), test, at, tries: 0 };
}

/** The page something belongs to: a round's number, or the path of an activity's card.
 * @param {string} path */
export function roundOf(path) {
  const found = /^\/(?:rounds\/(\d+)|(patients\/\d+\/activities\/\w+))(\/|$)/.exec(path);
  return found?.[1] ?? found?.[2] ?? "";
}

/**
 * What is on the disk as an item of today. One from a newer program stays as it is and
 * is not sent: it is not ours to guess what it means.
 * @param {any} kept
 * @returns {Item}
 */
export function readItem(kept, upgrades = UPGRADES, version = VERSION) {
  let item = kept;
  while (item.v < version && upgrades[item.v]) item = upgrades[item.v](item);
  return item.v === version ? item : { ...item, said: NEWER };
}

/** Made by a program that this one cannot read. @param {Item} item */
export function isForeign(item) {
  return item.v !== VERSION;
}

/**
 * Only an answer of our own server counts: a hotel's or a ward's network may answer
 * anything with a page of its own. A trial is there when the answer names its id.
 * @param {Response} response @param {string} [uid] of the trial that was sent
 * @returns {Verdict}
 */
export function verdictOf({ status, url, redirected, headers }, uid = "") {
  if (!headers.has("x-request-id")) return "wait";
  if (redirected && !roundOf(new URL(url).pathname)) return "sign in";
  if (uid && status < 400) return headers.get("tapeline-saved") === uid ? "sent" : "wait";
  if (status >= 200 && status < 400) return "sent";
  if (status === 401) return "sign in";
  const later = status >= 500 || [408, 423, 425, 429].includes(status);
  return later ? "wait" : "needs you";
}

/** How long to leave the network alone after so many tries. @param {number} tries */
export function waitMs(tries) {
  return Math.min(LONGEST_WAIT, SHORTEST_WAIT * 2 ** Math.max(0, tries - 1));
}

/** The raw value as it was taken. @param {Item} item */
export function valueWords({ fields }) {
  const pairs = Array.isArray(fields) ? fields.filter(Array.isArray) : [];
  const said = new Map(pairs);
  const outcome = said.get("outcome") || "completed";
  const ran = said.get("raw_ms");
  if (outcome === "done") return setWords(said);
  if (outcome !== "completed") {
    const ending = ENDINGS[/** @type {keyof ENDINGS} */ (outcome)] ?? outcome;
    return ran ? `${ending} at ${tenths(Number(ran))} s` : ending;
  }
  if (said.get("input-when")) return cuffWords(said);
  if (said.get("count")) return countWords(said); // its time is only the window
  if (ran) return `${tenths(Number(ran))} s (raw)`;
  if (said.get("typed")) return `${said.get("typed")} s (typed)`;
  const unit = said.get("unit") ?? "";
  const marks = `${said.get("start_mark")} to ${said.get("end_mark")}`;
  return `${said.get("end_mark") ? marks : said.get("distance") || "no value"} ${unit}`;
}

/** What is said of those of one page. A set of an activity has no reading to come.
 * @param {Item[]} items */
export function keptWords(items) {
  const values = items.map(valueWords).join(", ");
  const many = items.length > 1;
  if (/^patients/.test(items[0]?.round ?? "")) {
    const what = many ? `${items.length} sets` : "Set";
    return `${what} kept on this phone: ${values}. `
      + `${many ? "They are" : "It is"} sent when the network is back.`;
  }
  return `Kept on this phone: ${values}. The ${many ? "readings come" : "reading comes"} `
    + `when ${many ? "they are" : "it is"} sent.`;
}

/** "reps 12, errors 1" @param {Map<string, string>} said */
function setWords(said) {
  const counted = COUNTED.filter((name) => said.get(name));
  const parts = counted.map((name) => `${name} ${said.get(name)}`);
  for (const [name, word] of [["holds_ms", "held"], ["time_ms", "in"]]) {
    const times = (said.get(name) ?? "").split(",").filter(Boolean);
    if (times.length) parts.push(`${word} ${times.map((ms) => tenths(Number(ms))).join(", ")} s`);
  }
  return parts.join(", ") || "done";
}

/** "142/80 mmHg, standing 1 min" @param {Map<string, string>} said */
function cuffWords(said) {
  const lower = said.get("input-diastolic");
  const when = (said.get("input-when") ?? "").replace(/_(\d)$/, " $1 min").replace("_", " ");
  return `${said.get("count")}${lower ? `/${lower}` : ""} mmHg, ${when}`;
}

/** "12 stands": what the form says that it counts. @param {Map<string, string>} said */
export function countWords(said) {
  const count = said.get("count") ?? "";
  const [one, many] = (said.get("counted") ?? "").split(" ");
  return many ? `${count} ${Number(count) === 1 ? one : many}` : `count ${count}`;
}

/** @param {number} ms */
export function ageWords(ms) {
  const minutes = Math.floor(Math.max(0, ms) / 60_000);
  if (minutes < 1) return "just now";
  if (minutes < 60) return `${minutes} min`;
  const hours = Math.floor(minutes / 60);
  return hours < 48 ? `${hours} h` : `${Math.floor(hours / 24)} days`;
}
