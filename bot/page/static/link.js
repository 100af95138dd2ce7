// Whether the service is there, what is shown of that, and when to look again.

import { words } from "./words.js";
import { button } from "./view.js";

const pauses = [1000, 2000, 4000, 8000, 15000]; // ms, while the service is away

export class Link {
  up = null; // whether the service answers; null: not known yet
  pause = 0; // before the next look, ms
  until = 0; // nothing is asked before it, because the service said so, ms
  #failures = 0;
  #wake = () => {};
  #text = "";

  constructor(node, after) {
    this.node = node;
    this.after = after; // takes the focus when a button of the line goes
  }

  // found notes that the service answers, and reports whether it was away.
  found() {
    this.#failures = 0;
    this.pause = 0;
    const back = this.up !== true;
    this.up = true;
    this.#line("");
    return back;
  }

  // lost notes what went wrong, and says it.
  lost(result) {
    this.up = false;
    this.pause = pauses[Math.min(this.#failures++, pauses.length - 1)];
    switch (result.kind) {
      case "wait":
        this.pause = result.seconds * 1000;
        this.until = Date.now() + this.pause;
        this.#line(words.wait(result.seconds));
        break;
      case "unpaired":
        this.pause = pauses.at(-1);
        this.#line(words.unpaired, true);
        break;
      case "refused":
        this.pause = pauses.at(-1);
        this.#line(words[result.why], true);
        break;
      default:
        this.#line(words.away);
    }
  }

  // rest waits, at most until somebody wakes it.
  rest(ms) {
    return new Promise((resolve) => {
      const timer = setTimeout(resolve, Math.max(ms, this.until - Date.now()));
      this.#wake = () => {
        clearTimeout(timer);
        resolve();
      };
    });
  }

  // wake ends a rest, unless the service has asked for it.
  wake() {
    if (Date.now() >= this.until) {
      this.#wake();
    }
  }

  // line shows how things stand; an empty text hides it.
  #line(text, retry = false) {
    if (this.#text === text) {
      return;
    }
    this.#text = text;
    const hadFocus = this.node.contains(document.activeElement);
    this.node.textContent = text;
    if (retry) {
      this.node.append(" ", button(words.tryAgain, "tool", () => this.wake()));
    }
    this.node.hidden = text === "";
    if (hadFocus) {
      (this.node.querySelector("button") ?? this.after).focus({ preventScroll: true });
    }
  }
}
