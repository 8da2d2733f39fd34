// @ts-check
/**
 * Moves the simulated person at real speed, from one start on the clock that touches are
 * stamped with. It knows no key. Where less motion is asked for it shows a still at each
 * sentence instead, and the sentences themselves.
 *
 * Events on the figure: "figure:began" (detail.origin: ms on the page's clock),
 * "figure:ended" (detail.hidden: the page was out of sight meanwhile).
 */
import { decode, facesLeft, poseAt, saidBy } from "./figure_data.js";

/** @typedef {import("./figure_data.js").Motion} Motion */

/** Draws one pose into the parts the template left, each naming its points. */
class Drawing {
  /**
   * @param {HTMLElement} root
   * @param {string[]} names */
  constructor(root, names) {
    this.names = names;
    this.svg = /** @type {SVGElement} */ (root.querySelector("svg"));
    const at = (/** @type {string} */ name) => 2 * names.indexOf(name);
    /** @type {[Element, number[]][]} */
    this.limbs = [...this.svg.querySelectorAll("[data-limb]")].map(
      (e) => [e, (e.getAttribute("data-limb") ?? "").split(" ").map(at)],
    );
    /** @type {[Element, number][]} */
    this.places = [...this.svg.querySelectorAll("[data-place]")].map(
      (e) => [e, at(e.getAttribute("data-place") ?? "")],
    );
  }

  /** @param {number[]} pose */
  show(pose) {
    const left = facesLeft(this.names, pose);
    this.svg.classList.toggle("faces-left", left);
    for (const [limb, at] of this.limbs) {
      const points = at.map((i) => `${pose[i].toFixed(1)},${pose[i + 1].toFixed(1)}`);
      limb.setAttribute("points", points.join(" "));
    }
    for (const [part, i] of this.places) {
      const flip = left ? " scale(-1 1)" : "";
      part.setAttribute("transform", `translate(${pose[i].toFixed(1)} ${pose[i + 1].toFixed(1)})${flip}`);
    }
  }
}

/** @param {HTMLElement} root */
export function figure(root) {
  import("./practice_page.js").then((m) => m.practicePage(root));
  if (!root.dataset.figure) return; // a page of practice on which nothing is drawn
  const motion = /** @type {Motion} */ (JSON.parse(root.dataset.figure ?? "{}"));
  const reel = decode(motion);
  const drawing = new Drawing(root, motion.points);
  const play = /** @type {HTMLButtonElement | null} */ (root.querySelector("[data-figure-play]"));
  const cue = root.querySelector("[data-figure-cue]");
  const said = root.querySelector("[data-figure-said]");
  const ends = reel.times[reel.times.length - 1];
  const still = matchMedia("(prefers-reduced-motion: reduce)");
  let spoken = 0;
  let origin = -1;
  let hidden = false;

  /** @param {number} ms */
  const speak = (ms) => {
    const due = saidBy(reel, ms);
    if (due === spoken) return false;
    for (const line of motion.lines.slice(spoken, due)) {
      if (said) said.textContent = line.text;
      if (cue && line.cue) cue.textContent = line.text;
    }
    spoken = due;
    return true;
  };

  /** @param {number} now */
  const step = (now) => {
    if (!root.isConnected) return;
    if (origin < 0) began(now);
    const ms = now - origin;
    const changed = speak(ms);
    if (!still.matches || changed) drawing.show(poseAt(reel, ms));
    if (ms < ends) requestAnimationFrame(step);
    else ended();
  };

  /** @param {number} now */
  const began = (now) => {
    origin = now;
    root.dataset.origin = String(now);
    root.dispatchEvent(new CustomEvent("figure:began", { bubbles: true, detail: { origin } }));
  };

  const ended = () => {
    document.removeEventListener("visibilitychange", away);
    root.dataset.ended = "";
    if (play && "replay" in root.dataset) play.disabled = false;
    root.dispatchEvent(new CustomEvent("figure:ended", { bubbles: true, detail: { hidden } }));
  };

  const away = () => { hidden ||= document.visibilityState === "hidden"; };

  const start = () => {
    origin = -1;
    spoken = 0;
    hidden = false;
    if (cue) cue.textContent = "";
    if (play) play.disabled = true;
    document.addEventListener("visibilitychange", away);
    requestAnimationFrame(step);
  };

  drawing.show(poseAt(reel, 0));
  if (play) {
    play.disabled = false;
    play.addEventListener("click", start);
  }
}
