// Two aids of the browser: the screen that stays on, and the voice. The page
// works without either.

import { words } from "./words.js";
import { flag, setFlag } from "./keep.js";

// Awake keeps the screen on while it is wanted (Screen Wake Lock API). The
// browser takes the lock back when the page is hidden; it is asked for again
// when the page is seen.
export class Awake {
  #wanted = false;
  #lock = null;
  #asking = false;

  constructor(changed) {
    this.changed = changed;
    document.addEventListener("visibilitychange", () => this.#ask());
  }

  // possible says whether this browser can keep the screen on for this page.
  get possible() {
    return "wakeLock" in navigator;
  }

  get on() {
    return this.#lock !== null && !this.#lock.released;
  }

  want(wanted) {
    this.#wanted = wanted;
    if (wanted) {
      this.#ask();
    } else {
      this.#lock?.release();
    }
  }

  async #ask() {
    if (!this.#wanted || !this.possible || this.on || this.#asking || document.visibilityState !== "visible") {
      return;
    }
    this.#asking = true;
    try {
      const lock = await navigator.wakeLock.request("screen");
      this.#lock = lock;
      lock.addEventListener("release", () => this.changed());
      if (!this.#wanted) {
        lock.release();
      }
    } catch {
      this.#lock = null; // a low battery, for example; asked again when next seen
    } finally {
      this.#asking = false;
    }
    this.changed();
  }
}

// Voice reads aloud (Web Speech API).
export class Voice {
  on = false;

  get possible() {
    return "speechSynthesis" in window;
  }

  // attach makes a button the switch of the voice, as it was left the last
  // time. Switched on, it reads what was said last.
  attach(node, last) {
    const set = (on) => {
      this.on = on;
      setFlag("aloud", on);
      node.setAttribute("aria-pressed", String(on));
    };
    node.textContent = words.aloud;
    node.hidden = !this.possible;
    node.addEventListener("click", () => {
      set(!this.on);
      if (this.on) {
        this.say(last());
      } else {
        this.hush();
      }
    });
    set(flag("aloud"));
  }

  // say reads a text in its language when the voice is on; with `asked`, in any case.
  say({ text, lang }, asked = false) {
    if (!this.possible || !(this.on || asked) || text === "") {
      return;
    }
    // A sentence at a time: long utterances break off in some browsers.
    for (const part of text.match(/[^.?\n]+(?:\.\d+[^.?\n]*)*[.?]?/g) ?? [text]) {
      if (part.trim() !== "") {
        const said = new SpeechSynthesisUtterance(part.trim());
        said.lang = lang || document.documentElement.lang;
        speechSynthesis.speak(said);
      }
    }
  }

  hush() {
    if (this.possible) {
      speechSynthesis.cancel();
    }
  }
}
