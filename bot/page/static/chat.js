// The conversation: what is sent, what is kept, what is asked again.

import { language, words } from "./words.js";
import * as keep from "./keep.js";
import * as wire from "./wire.js";
import { View } from "./view.js";
import { Composer, WordsPanel } from "./composer.js";
import { Link } from "./link.js";
import { Awake, Voice } from "./aids.js";

const sendTimeout = 20000; // ms
const confirmTimeout = 10000; // ms; later than this a word of safety is asked again
const longPoll = 25; // seconds, the most that the service waits
const shortPoll = 1000; // ms; a wait that ends sooner, without news, was none
const hiddenPause = 20000; // ms between looks while nobody sees the page
const idlePause = 15000; // ms, while nothing was said yet

const $ = (id) => document.getElementById(id);
const conversation = keep.conversation();

// What is known of the conversation.
const state = {
  prompt: { kind: "idle" }, // the open question
  choices: [], // that answer it
  expires: NaN, // when the question may no longer be answered, ms
  question: null, // the reply that asked it
  after: 0, // the last entry read
  answers: 0, // answers to messages of this page so far
  fresh: false, // whether the question is known to be the service's latest
  loaded: false, // whether what was said before has been read
  started: false, // whether anything was said
  posting: null, // the id of the message on its way
};

const link = new Link($("line"), $("text"));
const voice = new Voice();
const awake = new Awake(notes);
const view = new View($("log"), $("scroll"), { discard, again });
const composer = new Composer({
  form: $("answer"), choices: $("choices"), about: $("about"), asked: $("asked"), keys: $("keys"),
  sign: $("sign"), text: $("text"), unit: $("unit"), send: $("send"),
}, submit);
let lastSaid = { text: "" };
const panel = new WordsPanel($("words"), $("more"), submit, voice.possible ? () => voice.say(lastSaid, true) : null);

// --- what the person says

// submit takes an answer. What confirms something about safety goes now or not
// at all; everything else is put away first, then sent.
function submit(text) {
  voice.hush();
  const message = { id: keep.newID("m-"), text, sent_at: wire.now().toISOString() };
  if (confirms(text)) {
    confirm(message);
  } else {
    keep.wait(message);
    view.mine(message, link.up === false ? "kept" : "sending");
    flush();
  }
  view.reveal(message.id, true);
}

// plain reduces a text to its letters and digits.
function plain(text) {
  return text.normalize("NFKD").toLowerCase().replace(/\p{M}/gu, "").replace(/[^\p{L}\p{N}]+/gu, " ").trim();
}

// confirms reports whether a text answers an open question about safety: with
// the word that confirms it, alone or among others, or with another of the
// answers offered.
function confirms(text) {
  const { kind, acknowledge } = state.prompt;
  if (kind !== "confirm" || !acknowledge) {
    return false;
  }
  const said = plain(text);
  return ` ${said} `.includes(` ${plain(acknowledge)} `) || state.choices.some((choice) => plain(choice) === said);
}

// confirm sends a word of safety at once. It is never kept: what was true when
// it was typed need not be true when it arrives.
async function confirm(message) {
  if (!link.up || state.posting || keep.waiting().length > 0) {
    holdBack(message, "ack");
    return;
  }
  state.posting = message.id;
  view.mine(message, "sending");
  const result = await wire.post(conversation, message, confirmTimeout);
  state.posting = null;
  // Only its answer was lost where what the page reads besides has it already.
  if (["away", "wait", "unpaired"].includes(result.kind) && !view.answered(message.id)) {
    holdBack(message, "ack");
  }
  settle(message, result);
  flush();
}

// holdBack keeps a message from being sent, and says so.
function holdBack(message, why, reason = "") {
  const item = { ...message, why, reason, asked: why === "ack" };
  keep.setUnsent([...keep.unsent().filter((m) => m.id !== message.id), item]);
  showUnsent(item);
}

function showUnsent(item) {
  const detail = { ack: words.ackNotKept, after: words.afterAck }[item.why] ?? words.refused(words[item.reason] ?? words.whyText);
  view.mine(item, "unsent", detail);
}

function discard(id) {
  keep.unwait(id);
  keep.setUnsent(keep.unsent().filter((m) => m.id !== id));
  view.remove(id);
  keep.tell();
  $("text").focus({ preventScroll: true });
  present();
}

function again(id, text) {
  discard(id);
  composer.fill(text);
}

// flush sends what waits, in the order in which it was typed.
async function flush() {
  if (state.posting || Date.now() < link.until) {
    return;
  }
  state.posting = "any";
  try {
    await keep.alone(async () => {
      for (let message = keep.waiting()[0]; message; message = keep.waiting()[0]) {
        // What waited meets the question as it is now.
        if (!state.fresh && !(await catchUp())) {
          return;
        }
        if (view.answered(message.id)) {
          keep.unwait(message.id); // it had arrived, only its answer was lost
          continue;
        }
        if (confirms(message.text)) {
          askAgain();
          return;
        }
        state.posting = message.id;
        view.mine(message, "sending");
        if (!settle(message, await wire.post(conversation, message, sendTimeout))) {
          return;
        }
      }
    });
  } finally {
    state.posting = null;
  }
}

// askAgain takes a word of safety, and what was typed after it, out of the
// messages that wait.
function askAgain() {
  for (const [i, message] of keep.waiting().entries()) {
    keep.unwait(message.id);
    holdBack(message, i === 0 ? "ack" : "after");
  }
  present();
}

// settle does what follows a sent message, and reports whether the next one
// can be sent.
function settle(message, result) {
  switch (result.kind) {
    case "ok":
      keep.unwait(message.id);
      keep.setUnsent(keep.unsent().filter((m) => m.why !== "ack"));
      view.mine(message, "sent");
      state.answers++;
      ask(result.body, take(message.id, result.body, undefined, true).replies);
      online();
      present();
      view.reveal(message.id, true);
      keep.tell();
      link.wake();
      return true;
    case "gone": // what the service shows of it now is read next
      keep.unwait(message.id);
      view.mine(message, "unsent", words.tooOld);
      state.fresh = false;
      link.wake();
      return true;
    case "refused":
    case "missing":
      keep.unwait(message.id);
      holdBack(message, "refused", result.why ?? "gone");
      return true;
  }
  if (keep.waiting().some((m) => m.id === message.id)) {
    view.mine(message, "kept");
  }
  trouble(result);
  return false;
}

// --- what the service says

// take shows what was answered. Only what comes while the page is open is read
// aloud.
function take(id, answer, seq, live) {
  const replies = Array.isArray(answer.replies) ? answer.replies : [];
  const isNew = !view.answered(id);
  view.replies(id, replies, seq, answer.lang);
  view.remove("welcome");
  state.started = true;
  if (isNew && replies.length > 0) {
    lastSaid = { text: replies.map((r) => r.text ?? words.expiredGone).join("\n"), lang: answer.lang };
    if (live) {
      voice.say(lastSaid);
    }
  }
  return { isNew, replies };
}

// ask makes the question of an answer the open one.
function ask(answer, replies) {
  const prompt = answer.prompt ?? { kind: "idle" };
  const last = replies.at(-1);
  state.prompt = prompt;
  state.question = last ?? null;
  for (const node of [$("choices"), $("asked")]) {
    node.lang = answer.lang || language;
  }
  state.choices = last?.choices ?? prompt.choices ?? (prompt.acknowledge ? [prompt.acknowledge] : []);
  const ends = replies.map((r) => (r.expired ? 0 : Date.parse(r.expires ?? "")));
  state.expires = Math.min(...ends.filter((t) => !Number.isNaN(t)));
  state.fresh = true;
}

// catchUp reads what is new, waiting for it as many seconds, and reports
// whether the service answered.
async function catchUp(wait = 0, signal) {
  const answers = state.answers;
  const result = await wire.read(conversation, state.after, wait, signal);
  if (result.stopped) {
    return false;
  }
  if (result.kind !== "ok" && result.kind !== "missing") {
    trouble(result);
    return false;
  }
  const live = state.loaded;
  let newest = null;
  for (const entry of result.body?.entries ?? []) {
    const id = entry.message?.id ?? "entry-" + entry.seq;
    if (entry.message) {
      arrived(entry.message, entry.at);
    }
    const { isNew, replies } = take(id, entry.answer, entry.seq, live);
    newest = isNew ? id : newest;
    // An answer that came while this was read is newer than all of it. An entry
    // that nobody asked for leaves the open question, unless it asks one itself.
    if (answers === state.answers && (entry.message || entry.answer.prompt?.kind !== "idle")) {
      ask(entry.answer, replies);
    }
  }
  state.after = result.body?.next ?? state.after;
  state.fresh = true;
  state.loaded = true;
  online();
  present();
  if (!live) {
    fromLabel();
  }
  if (newest) {
    view.reveal(newest, !live);
  }
  return true;
}

// fromLabel puts the saw that the page's address names, as a label at the
// machine has it, into the field: one press opens it. It sends nothing by
// itself, and a word of safety never comes from an address.
function fromLabel() {
  const address = new URL(location.href);
  const saw = (address.searchParams.get("saw") ?? "").trim().slice(0, 60);
  if (address.search) {
    history.replaceState(null, "", address.pathname);
  }
  if (saw && !confirms(saw)) {
    composer.fill(saw);
  }
}

// arrived notes that the service has a message, by whichever tab or attempt.
function arrived(message, at) {
  keep.unwait(message.id);
  keep.setUnsent(keep.unsent().filter((m) => m.id !== message.id));
  view.mine({ id: message.id, text: message.text, sent_at: at }, "sent");
}

// present brings everything round the conversation up to date with it.
function present() {
  const over = wire.now() >= state.expires;
  const held = keep.unsent().filter((m) => m.why === "ack").at(-1);
  if (!state.started && state.loaded && keep.waiting().length === 0) {
    view.local("welcome", { text: words.welcome });
    composer.show({ kind: "idle" }, words.welcomeChoices);
  } else if (over) {
    composer.show({ kind: "idle" }, [words.askWhere]);
  } else {
    composer.show(state.prompt, state.choices);
  }
  remindOf(link.up && state.fresh ? held : undefined, over);
  awake.want(Boolean(state.prompt.job) && state.prompt.kind !== "idle");
  if (state.fresh) {
    const known = new Set([...keep.waiting(), ...keep.unsent()].map((m) => m.id).concat(state.posting ?? []));
    view.prune((id) => !known.has(id));
  }
  notes();
}

// remindOf asks again for a word of safety that was not sent.
function remindOf(held, over) {
  const notice = $("again");
  const text = held ? words.asksAgain(held.text) : "";
  if (notice.textContent !== text) {
    notice.textContent = text;
    notice.hidden = !held;
    view.remove("asked");
    if (held && !over && state.question?.text && confirms(held.text)) {
      view.local("asked", { text: state.question.text, caution: true, label: words.askedAgain });
      view.reveal("asked", true);
    }
  }
}

// --- whether the service is there

function online() {
  if (link.found()) {
    flush();
  }
}

function trouble(result) {
  state.fresh = false;
  link.lost(result);
  poll.abort(); // what is read next is read after the pause
  present();
}

let poll = new AbortController(); // ends the reading under way

// listen keeps reading. A page that nobody sees looks now and then only: it
// would hold one of the few connections that a browser opens to one host.
async function listen() {
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "hidden") {
      poll.abort();
    } else {
      link.wake();
    }
  });
  for (;;) {
    poll = new AbortController();
    const hidden = document.visibilityState === "hidden";
    const hold = !hidden && state.fresh && state.started;
    const began = Date.now();
    const after = state.after;
    const ok = await catchUp(hold ? longPoll : 0, poll.signal);
    if (ok && keep.waiting().length > 0) {
      flush();
    }
    if (link.pause > 0) {
      await link.rest(link.pause);
    } else if (ok && hold && after === state.after && Date.now() - began < shortPoll) {
      await link.rest(shortPoll); // the service does not wait just now
    } else if (hidden) {
      await link.rest(hiddenPause);
    } else if (!state.started) {
      await link.rest(idlePause);
    }
  }
}

// --- the aids, and what is shown at the start

function notes() {
  document.body.dataset.awake = awake.on ? "on" : "off";
  const job = Boolean(state.prompt.job);
  panel.note([
    awake.on ? words.awakeYes : job && !awake.possible ? words.awakeNo : "",
    keep.keeps ? "" : words.notKept,
  ]);
}

function start() {
  document.documentElement.lang = language;
  $("log").setAttribute("aria-label", words.log);
  voice.attach($("aloud"), () => lastSaid);
  const showKept = () => {
    for (const message of keep.waiting()) {
      if (message.id !== state.posting) {
        view.mine(message, "kept");
      }
    }
    keep.unsent().forEach(showUnsent);
  };
  showKept();
  keep.watch((key) => {
    if (/^(out\.|unsent|told)/.test(key)) {
      showKept();
      present();
      link.wake();
    }
  });
  addEventListener("online", () => link.wake());
  setInterval(() => {
    if (view.expire(wire.now())) {
      present();
    }
  }, 2000);
  present();
  listen();
}

start();
