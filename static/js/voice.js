// @ts-check
/** Speaks words where the phone can, and says where it cannot. Everything is shown too. */

const NONE = "This phone cannot speak: read the words out.";
const NO_VOICE = "This phone has no voice: read the words out.";
/** Voices come late, or never. */
const LATE_MS = 2_000;

export class Voice {
  /** @param {(words: string) => void} missing */
  constructor(missing) {
    this.missing = missing;
    this.speaks = window.speechSynthesis;
    if (!this.speaks || !("SpeechSynthesisUtterance" in window)) {
      this.speaks = /** @type {any} */ (null);
      missing(NONE);
    }
  }

  /** Inside the start tap: from a timer alone some phones never speak. @param {string} words */
  prime(words) {
    this.say(words);
    setTimeout(() => { if (this.speaks?.getVoices().length === 0) this.missing(NO_VOICE); }, LATE_MS);
  }

  /** @param {string} words */
  say(words) {
    if (words) this.read([words]);
  }

  /** Line by line: some phones fall silent in a long text. @param {string[]} lines
   * @param {() => void} [done] */
  read(lines, done) {
    if (!this.speaks) return;
    if (this.speaks.speaking || this.speaks.pending) this.speaks.cancel(); // the newest counts
    lines.forEach((words, place) => {
      const utterance = new SpeechSynthesisUtterance(words);
      utterance.lang = "en";
      utterance.onerror = ({ error }) => {
        if (["interrupted", "canceled"].includes(error)) return;
        this.missing(NO_VOICE);
        done?.();
      };
      if (place === lines.length - 1) utterance.onend = () => done?.();
      this.speaks.speak(utterance);
    });
  }

  hush() {
    this.speaks?.cancel();
  }
}
