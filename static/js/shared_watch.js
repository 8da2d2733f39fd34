// @ts-check
/**
 * A stopwatch that two phones work: before it sends a time the other phone is heard, and
 * what its clocks cannot vouch for is asked about like any doubtful time.
 *
 * @typedef {import("./help_link.js").Said} Said
 */
import { doubts } from "./doubts.js";
import { save } from "./kept.js";
import { later } from "./timing.js";

const UNDONE = "Doubtful timing: the stop was undone between two phones.";

/**
 * Between the stop and the sending of a time.
 * @param {any} watch form.watch of stopwatch_bind.js
 * @param {(run: any) => Promise<void>} first
 */
export function beforeClosing(watch, first) {
  // The helper presses at "go": a start after some seconds would be another start.
  watch.form.querySelector("[data-pref=delay]")?.closest("[role=group]")?.remove();
  watch.close = async (/** @type {any} */ run) => {
    watch.now("sending");
    await first(run);
    // Made safe, undone or taken by the other phone meanwhile.
    if (watch.run !== run || watch.form.dataset.state !== "sending") return;
    save(watch.key, run);
    const why = [...doubts(run), run.unsure].filter(Boolean);
    if (why.length) watch.ask(why);
    else watch.send();
  };
}

/** Whose stop came first, and how sure the time is. @param {any} run @param {Said | null} said */
export function settle(run, said) {
  if (said?.helped && said.trial === run.uid) {
    const { stop, helped, doubt } = said;
    Object.assign(run, { helped, unsure: doubt });
    if (stop?.side === "helper" && stop.ran_ms !== null) run.stop = later(run.start, stop.ran_ms);
  }
  if (run.undone && run.helped) {
    Object.assign(run, { helped: { ...run.helped, bound_ms: null }, unsure: UNDONE });
  }
}
