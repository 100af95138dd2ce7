// What the page keeps in the browser: the conversation's name, and the messages
// that wait. Each waiting message has a key of its own, so that two tabs never
// overwrite each other's.

const prefix = "shimwright.";
const memory = new Map(); // where the browser keeps nothing

function area() {
  try {
    const test = prefix + "test";
    localStorage.setItem(test, "1");
    localStorage.removeItem(test);
    return localStorage;
  } catch {
    return null;
  }
}

const storage = area();
const tab = newID("tab-");

// keeps reports whether what is put away outlives the page.
export const keeps = storage !== null;

function get(key) {
  return storage ? storage.getItem(prefix + key) : (memory.get(key) ?? null);
}

function put(key, value) {
  if (!storage) {
    memory.set(key, value);
    return;
  }
  try {
    storage.setItem(prefix + key, value);
  } catch {
    memory.set(key, value); // full: at least until the page is closed
  }
}

function drop(key) {
  memory.delete(key);
  storage?.removeItem(prefix + key);
}

function keys() {
  const all = [...memory.keys()];
  for (let i = 0; storage && i < storage.length; i++) {
    const key = storage.key(i);
    if (key.startsWith(prefix)) {
      all.push(key.slice(prefix.length));
    }
  }
  return [...new Set(all)];
}

function parse(text) {
  try {
    return JSON.parse(text);
  } catch {
    return null;
  }
}

// newID returns an id that no other message has.
export function newID(mark) {
  const random = crypto.getRandomValues(new Uint8Array(8));
  return mark + Date.now().toString(36) + "-" + Array.from(random, (b) => b.toString(16).padStart(2, "0")).join("");
}

// conversation returns the name of this browser's conversation: all of its tabs
// hold the same one.
export function conversation() {
  const known = get("conversation");
  if (known) {
    return known;
  }
  put("conversation", newID("page-"));
  return get("conversation"); // what stands there, should another tab have been first
}

// The messages that wait, in the order in which they were typed.

export function waiting() {
  return keys()
    .filter((key) => key.startsWith("out."))
    .map((key) => parse(get(key)))
    .filter((m) => m && typeof m.id === "string" && typeof m.text === "string")
    .sort((a, b) => a.n - b.n || (a.id < b.id ? -1 : 1));
}

export function wait(message) {
  const last = waiting().at(-1);
  put("out." + message.id, JSON.stringify({ ...message, n: last ? Math.max(last.n + 1, Date.now()) : Date.now() }));
}

export function unwait(id) {
  drop("out." + id);
}

// What was typed and is not going to be sent as it is: words that are asked
// again, what came after them, and what the service did not take.

export function unsent() {
  return parse(get("unsent") ?? "[]") ?? [];
}

export function setUnsent(list) {
  if (list.length === 0) {
    drop("unsent");
  } else {
    put("unsent", JSON.stringify(list));
  }
}

// A flag, such as whether messages are read aloud.

export function flag(name) {
  return get("flag." + name) === "1";
}

export function setFlag(name, on) {
  if (on) {
    put("flag." + name, "1");
  } else {
    drop("flag." + name);
  }
}

// watch calls f when another tab has changed what is kept, or sent something.
export function watch(f) {
  addEventListener("storage", (event) => {
    if (event.key === null || event.key.startsWith(prefix)) {
      f(event.key?.slice(prefix.length) ?? "");
    }
  });
}

// tell wakes the other tabs.
export function tell() {
  put("told", newID("t-"));
}

// alone runs f unless another tab is running it. Where the browser has no locks
// (pages over plain http), a note with an end does; two tabs that slip past
// it at once send the same ids, which the service handles once.
export async function alone(f) {
  if (navigator.locks) {
    return navigator.locks.request(prefix + "sending", { ifAvailable: true }, (lock) => (lock ? f() : undefined));
  }
  const note = parse(get("sending") ?? "null");
  if (note && note.until > Date.now() && note.tab !== tab) {
    return undefined;
  }
  put("sending", JSON.stringify({ tab, until: Date.now() + 25000 }));
  try {
    return await f();
  } finally {
    drop("sending");
  }
}
