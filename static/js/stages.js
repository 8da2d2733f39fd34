// @ts-check
/**
 * `form[data-stages]`: stances in a fixed order. What waits unsent on this phone has been
 * done all the same: the page goes on to the next stance, or says that the test is over,
 * as the server will when it hears of it.
 *
 * @typedef {{label: string, show: string, hold: number}} Stage
 * @typedef {import("./outbox_item.js").Item} Item
 */
import { waiting } from "./outbox.js";
import { roundOf } from "./outbox_item.js";
import { part, say } from "./fields.js";

/** Held or missed; practice and an undone stop take no stage. @param {Item} item */
function takes({ fields, undone }) {
  const said = new Map(fields);
  const done = ["completed", "unable"].includes(said.get("outcome") ?? "completed");
  return done && !undone && said.get("practice") !== "yes";
}

/** To a hundredth of a second, as it is scored. @param {Item} item @param {Stage} stage */
export function isHeld({ fields }, stage) {
  const said = new Map(fields);
  const ms = Number(said.get("raw_ms") || 1000 * Number(said.get("typed")));
  return said.get("outcome") !== "unable" && Math.round(ms / 10) >= stage.hold * 100;
}

/**
 * Where the person is: stages behind them of those ahead, and whether one was missed.
 * @param {Stage[]} stages @param {Item[]} items
 */
export function standOf(stages, items) {
  const taken = items.filter(takes);
  const missed = taken.some((item, place) => stages[place] && !isHeld(item, stages[place]));
  return { behind: taken.length, missed, over: missed || taken.length >= stages.length };
}

/** @param {HTMLFormElement} form */
export function stages(form) {
  /** @type {Stage[]} */
  const ahead = JSON.parse(form.dataset.stages ?? "[]");
  const first = Number(part(form, "stage-number")?.textContent);
  const round = roundOf(new URL(form.action).pathname);
  const look = async () => {
    const items = (await waiting()).filter((item) => item.round === round && !item.said);
    const { behind, missed, over } = standOf(ahead, items);
    const next = ahead[Math.min(behind, ahead.length - 1)];
    say(form, "stage-number", String(Math.min(first + behind, first + ahead.length - 1)));
    say(form, "stage-label", next.label[0].toUpperCase() + next.label.slice(1));
    say(form, "stage-show", next.show);
    form.dataset.ceiling = String(next.hold);
    form.hidden = over;
    const end = document.querySelector("[data-stages-over]");
    if (end instanceof HTMLElement) end.hidden = !over;
    if (end && over) end.textContent = missed ? MISSED : ALL;
  };
  const later = () => {
    if (!form.isConnected) return document.removeEventListener("outbox:change", later);
    if (!form.dataset.busy) look();
  };
  document.addEventListener("outbox:change", later);
  document.addEventListener("outbox:kept", () => { if (form.isConnected) look(); });
  look();
}

const MISSED = "This stance was not held: the test ends here. The reading comes when it is sent.";
const ALL = "All stances are done. The reading comes when they are sent.";
