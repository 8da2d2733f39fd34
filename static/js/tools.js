// @ts-check
/** The tools inside a `form[data-activity-set]`, each bound by its own `data-*`. */
import { beat } from "./beat_tool.js";
import { Bout } from "./bout.js";
import { caller } from "./caller_tool.js";
import { counting } from "./count_tool.js";
import { holds } from "./hold_tool.js";

/** @type {[string, (place: HTMLElement, bout: Bout) => void][]} */
const TOOLS = [
  ["[data-counts]", counting],
  ["[data-holds]", holds],
  ["[data-caller]", caller],
  ["[data-beat]", beat],
];

/** @param {HTMLFormElement} form */
export function tools(form) {
  const bout = new Bout(form);
  for (const live of form.querySelectorAll("[data-tool-live]")) live.removeAttribute("hidden");
  for (const [selector, act] of TOOLS) {
    for (const place of form.querySelectorAll(selector)) {
      act(/** @type {HTMLElement} */ (place), bout);
    }
  }
}
