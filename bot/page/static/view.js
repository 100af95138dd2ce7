// The conversation on the screen. All text goes in as text, never as markup.

import { words, clock } from "./words.js";

// el makes an element with a class, a text and children.
export function el(tag, className, text, ...children) {
  const node = document.createElement(tag);
  if (className) {
    node.className = className;
  }
  if (text) {
    node.textContent = text;
  }
  node.append(...children);
  return node;
}

// button makes a button that calls f.
export function button(text, className, f) {
  const node = el("button", className, text);
  node.type = "button";
  node.addEventListener("click", f);
  return node;
}

// warning is the sign of a caution: a triangle with a bar, no letter.
function warning() {
  const space = "http://www.w3.org/2000/svg";
  const svg = document.createElementNS(space, "svg");
  svg.setAttribute("viewBox", "0 0 24 24");
  svg.setAttribute("aria-hidden", "true");
  for (const [d, fill] of [["M12 2 23 21H1z", "currentColor"], ["M10.9 8h2.2l-.4 7h-1.4zM10.9 16.5h2.2v2.2h-2.2z", "var(--care-paper)"]]) {
    const path = document.createElementNS(space, "path");
    path.setAttribute("d", d);
    path.setAttribute("fill", fill);
    svg.append(path);
  }
  return svg;
}

// linked makes the address of a report, the one that this service gives, a link:
// always to this service, whatever name it goes by. Any other address is text.
function linked(line) {
  return line.split(/(https?:\/\/\S+\/report\/[a-z0-9]+)/).map((part, i) => {
    if (i % 2 === 0) {
      return part;
    }
    const link = el("a", "", part);
    link.href = new URL(part).pathname;
    link.target = "_blank"; // the conversation stays where it is
    link.rel = "noopener noreferrer";
    return link;
  });
}

// View shows turns: what the person said and what was answered. A turn has
// the id of the person's message; one that nobody asked for, an id of its own.
export class View {
  #turns = new Map(); // id → { node, seq, mine, replies }
  #live = new Set(); // replies with an end that are not over yet

  constructor(log, scroll, actions) {
    this.log = log;
    this.scroll = scroll;
    this.actions = actions; // discard(id), again(id, text)
    this.#stick();
  }

  has(id) {
    return this.#turns.has(id);
  }

  answered(id) {
    return (this.#turns.get(id)?.replies.size ?? 0) > 0;
  }

  // mine shows what the person said, and in what state it is: sending, sent,
  // kept, unsent. The detail is a sentence.
  mine(message, state, detail = "") {
    const turn = this.#turn(message.id);
    if (!turn.mine) {
      turn.mine = el("article", "mine");
      turn.mine.setAttribute("aria-label", words.you);
      turn.node.prepend(turn.mine);
    }
    turn.pending = state !== "sent";
    turn.mine.classList.toggle("unsent", state === "kept" || state === "unsent");
    const text = { sending: words.sending, sent: words.sent(clock(message.sent_at)), kept: words.kept }[state] ?? detail;
    const parts = [el("p", "said", message.text), el("p", "state", text)];
    if (state === "kept" || state === "unsent") {
      parts.push(button(state === "kept" ? words.discard : words.remove, "", () => this.actions.discard(message.id)));
    }
    if (state === "unsent" && !message.asked) {
      parts.push(button(words.useAgain, "", () => this.actions.again(message.id, message.text)));
    }
    turn.mine.replaceChildren(...parts);
  }

  // replies shows what was answered, in the language that it is in. Known
  // replies stay as they are.
  replies(id, replies, seq, lang = "") {
    const turn = this.#turn(id);
    if (seq !== undefined && turn.seq !== seq) {
      turn.seq = seq;
      this.#place(turn);
    }
    for (const reply of replies) {
      if (!turn.replies.has(reply.id)) {
        const node = this.#reply(reply);
        if (lang && !reply.expired) { // what the page itself says is in its own
          node.querySelectorAll(".said, figure").forEach((part) => (part.lang = lang));
        }
        turn.replies.set(reply.id, node);
        turn.node.append(node);
      }
    }
  }

  // local shows something that the page itself says, as the last turn.
  local(id, reply) {
    this.remove(id);
    this.replies(id, [{ id, ...reply }]);
  }

  remove(id) {
    this.#turns.get(id)?.node.remove();
    this.#turns.delete(id);
  }

  // prune removes what waits here but is no longer to be sent: another tab has
  // discarded it.
  prune(gone) {
    for (const [id, turn] of [...this.#turns]) {
      if (turn.pending && turn.replies.size === 0 && gone(id)) {
        this.remove(id);
      }
    }
  }

  // expire marks what is over by now, and reports whether anything changed.
  expire(now) {
    let changed = false;
    for (const item of this.#live) {
      if (item.end <= now) {
        this.#over(item.node);
        this.#live.delete(item);
        changed = true;
      }
    }
    return changed;
  }

  // reveal scrolls so that the newest turn is read from its beginning. Without
  // force it leaves somebody who reads further up where they are.
  reveal(id, force) {
    const turn = this.#turns.get(id);
    if (!turn || !(force || this.bottom)) {
      return;
    }
    const first = turn.node.querySelector(".theirs") ?? turn.node;
    const top = first.getBoundingClientRect().top - this.scroll.getBoundingClientRect().top + this.scroll.scrollTop;
    this.bottom = true;
    this.scroll.scrollTop = this.scroll.scrollHeight - top > this.scroll.clientHeight ? top - 8 : this.scroll.scrollHeight;
  }

  #turn(id) {
    let turn = this.#turns.get(id);
    if (!turn) {
      turn = { node: el("section", "turn"), seq: Infinity, mine: null, pending: false, replies: new Map() };
      this.#turns.set(id, turn);
      this.log.append(turn.node);
    }
    return turn;
  }

  // place keeps turns in the order of the service; those that it has not told
  // the place of stay last.
  #place(turn) {
    let before = null;
    for (const other of this.#turns.values()) {
      if (other !== turn && other.seq > turn.seq && (!before || before.compareDocumentPosition(other.node) & Node.DOCUMENT_POSITION_PRECEDING)) {
        before = other.node;
      }
    }
    if (turn.node.nextElementSibling !== before) {
      this.log.insertBefore(turn.node, before);
    }
  }

  #reply(reply) {
    const node = el("article", "theirs");
    node.setAttribute("aria-label", reply.caution ? `${words.service}: ${words.caution}` : words.service);
    if (reply.caution) {
      node.classList.add("caution");
      node.append(el("p", "label", "", warning(), reply.label ?? words.caution));
    }
    if (reply.expired) {
      node.classList.add("over");
      node.append(el("p", "", words.expiredGone));
      return node;
    }
    // The caution stands first, then the picture of what it is about.
    const [first, ...rest] = reply.text.split("\n").map((line) => el("p", "said", "", ...linked(line)));
    if (reply.caution && rest.length > 0) {
      first.classList.add("first");
    }
    node.append(first, ...(reply.media ?? []).map((medium) => this.#picture(medium)), ...rest);
    const end = Date.parse(reply.expires ?? "");
    if (!Number.isNaN(end)) {
      this.#live.add({ node, end });
    }
    return node;
  }

  // picture shows a picture of this service; no other address is asked.
  #picture(medium) {
    const figure = el("figure");
    const alt = String(medium.alt ?? "");
    const url = new URL(String(medium.url), location.href);
    if (!url.pathname.startsWith("/v1/media/") || !String(medium.type).startsWith("image/")) {
      figure.append(el("p", "", words.pictureGone(alt)));
      return figure;
    }
    const img = el("img");
    img.alt = alt;
    img.decoding = "async";
    img.addEventListener("error", () => figure.replaceChildren(el("p", "", words.pictureGone(alt))));
    img.src = url.pathname;
    figure.append(img);
    return figure;
  }

  #over(node) {
    if (!node.classList.contains("over")) {
      node.classList.add("over");
      node.prepend(el("p", "state", words.expired));
    }
  }

  // stick notes whether the newest message is in sight, and keeps it there when
  // a keyboard or a row of choices takes room.
  #stick() {
    this.bottom = true;
    this.scroll.addEventListener("scroll", () => {
      this.bottom = this.scroll.scrollHeight - this.scroll.scrollTop - this.scroll.clientHeight < 160 || this.#newestInSight();
    }, { passive: true });
    let height = this.scroll.clientHeight;
    new ResizeObserver(() => {
      const shrunk = height - this.scroll.clientHeight;
      height = this.scroll.clientHeight;
      if (this.bottom && shrunk > 0 && !this.#newestInSight()) {
        this.scroll.scrollTop += shrunk;
      }
    }).observe(this.scroll);
  }

  // newestInSight reports whether the last turn begins within the window.
  #newestInSight() {
    const last = this.log.lastElementChild?.getBoundingClientRect();
    const frame = this.scroll.getBoundingClientRect();
    return last !== undefined && last.top >= frame.top - 8 && last.top < frame.bottom - 48;
  }
}
