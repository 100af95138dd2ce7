// The answer: the choices as buttons, the field with the right keyboard, and
// the words that work at any time.

import { words } from "./words.js";
import { button, el } from "./view.js";

// settle is how long a button that confirms something about safety does not
// react after it has come up, ms: a second tap of the thumb on the button that
// was there before must not answer it.
const settle = 700;

// unsigned are the quantities that have no sign.
const unsigned = ["length", "count"];

export class Composer {
  #shown = "";
  #textKeys = false;
  #prompt = { kind: "idle" };

  constructor(dom, answer) {
    this.dom = dom;
    this.answer = answer; // answer(text)
    dom.send.textContent = words.send;
    dom.sign.setAttribute("aria-label", words.signKey);
    dom.choices.setAttribute("aria-label", words.answers);
    dom.form.addEventListener("submit", (event) => {
      event.preventDefault();
      this.#submit();
    });
    dom.keys.addEventListener("click", () => this.#toggleKeys());
    dom.sign.addEventListener("click", () => this.#sign());
    // These leave the focus, and with it the keyboard, where it is.
    for (const key of [dom.keys, dom.sign, dom.send]) {
      key.addEventListener("pointerdown", (event) => event.preventDefault());
    }
  }

  // show sets the open question and the choices that answer it.
  show(prompt, choices) {
    const what = JSON.stringify([prompt, choices]);
    if (what === this.#shown) {
      return;
    }
    this.#shown = what;
    this.#prompt = prompt;
    this.#textKeys = false;
    this.#choices(choices, prompt.kind === "confirm" ? prompt.acknowledge : null);
    this.#field();
  }

  // fill puts a text in the field to be sent again or changed.
  fill(text) {
    this.dom.text.value = text;
    this.#textKeys = true;
    this.#field();
    this.dom.text.focus();
  }

  #choices(choices, acknowledge) {
    const hadFocus = this.dom.choices.contains(document.activeElement);
    this.dom.choices.replaceChildren(...choices.map((choice) => this.#choice(choice, choice === acknowledge)));
    this.dom.choices.hidden = choices.length === 0;
    if (hadFocus) {
      this.dom.text.focus({ preventScroll: true });
    }
  }

  #choice(choice, confirms) {
    const node = button(choice, confirms ? "confirm" : "", () => {
      if (node.getAttribute("aria-disabled") !== "true") {
        this.answer(choice);
      }
    });
    if (confirms) {
      node.setAttribute("aria-disabled", "true");
      setTimeout(() => node.removeAttribute("aria-disabled"), settle);
    }
    return node;
  }

  // field sets keyboard, unit and label for the question.
  #field() {
    const { text, unit, sign, keys, about, asked } = this.dom;
    const { kind, label = "", quantity = "" } = this.#prompt; // a quantity is a name for programs
    const reading = kind === "reading";
    const number = reading && !this.#textKeys;
    const mode = number ? "decimal" : "text";
    if (text.inputMode !== mode) {
      text.inputMode = mode;
      if (document.activeElement === text) {
        text.blur(); // so that a phone changes its keyboard
        text.focus({ preventScroll: true });
      }
    }
    text.classList.toggle("number", number);
    unit.textContent = words.units[this.#prompt.unit] ?? "";
    unit.hidden = !reading || unit.textContent === "";
    sign.hidden = !number || unsigned.includes(quantity);
    keys.hidden = !reading;
    keys.textContent = this.#textKeys ? words.numberKeys : words.textKeys;
    text.placeholder = number ? "" : words.answerHint;
    asked.textContent = reading ? label : "";
    about.hidden = !reading;
    text.setAttribute("aria-label", this.#label());
  }

  // label says to a screen reader what the field takes.
  #label() {
    const { kind, label, unit, acknowledge } = this.#prompt;
    if (kind === "reading") {
      return [label ? `${words.reading}: ${label}` : words.reading, words.unitNames[unit]].filter(Boolean).join(", ");
    }
    return kind === "confirm" && acknowledge ? words.confirm(acknowledge) : words.answerLabel;
  }

  #submit() {
    const text = this.dom.text.value.trim();
    if (text === "") {
      this.dom.text.focus();
      return;
    }
    this.dom.text.value = "";
    this.answer(text);
  }

  #toggleKeys() {
    this.#textKeys = !this.#textKeys;
    this.#field();
    this.dom.text.focus({ preventScroll: true });
  }

  #sign() {
    const { text } = this.dom;
    text.value = /^\s*[-−]/.test(text.value) ? text.value.replace(/^\s*[-−]\s*/, "") : "-" + text.value.trimStart();
    text.focus({ preventScroll: true });
    text.setSelectionRange(text.value.length, text.value.length);
  }
}

// WordsPanel is the drawer with the words that work at any time and the aids.
export class WordsPanel {
  constructor(panel, opener, answer, sayAgain) {
    this.panel = panel;
    this.opener = opener;
    this.notes = el("p");
    opener.textContent = words.more;
    panel.setAttribute("aria-label", words.commands);
    const said = words.commandWords.map((word) => button(word, "", () => {
      this.toggle(false);
      answer(word);
    }));
    if (sayAgain) {
      said.push(button(words.sayAgain, "tool", sayAgain));
    }
    panel.replaceChildren(...said, this.notes);
    opener.addEventListener("click", () => this.toggle(panel.hidden));
    panel.addEventListener("keydown", (event) => {
      if (event.key === "Escape") {
        this.toggle(false);
      }
    });
  }

  toggle(open) {
    const inside = this.panel.contains(document.activeElement);
    this.panel.hidden = !open;
    this.opener.setAttribute("aria-expanded", String(open));
    if (inside && !open) {
      this.opener.focus();
    }
  }

  note(lines) {
    this.notes.textContent = lines.filter(Boolean).join(" ");
  }
}
