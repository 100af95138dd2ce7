// The page's side of the HTTP interface. Every call comes back with what
// became of it; none throws.
//
//   ok        the service answered: body
//   away      it could not be reached, or something else answered
//   wait      it asks to wait: seconds
//   unpaired  it does not know this device
//   gone      handled, but the answer may no longer be followed
//   missing   there is no such conversation yet
//   refused   it does not take this: why, the name of the words for it
//
// What a problem document says is for programs, and in English: a person reads
// the page's own words.

let offset = 0; // of the service's clock against this one, ms

// now is the time by the service's clock, as far as it is known.
export function now() {
  return new Date(Date.now() + offset);
}

export function post(conversation, message, timeout) {
  return call("/v1/messages", timeout, {
    method: "POST",
    headers: { "Content-Type": "application/json" },
    body: JSON.stringify({ id: message.id, conversation, text: message.text, sent_at: message.sent_at }),
  });
}

// read returns the entries after one. With wait (seconds) the service holds the
// answer back until there is one.
export function read(conversation, after, wait, signal) {
  const query = new URLSearchParams({ after: String(after), max: "200" });
  if (wait > 0) {
    query.set("wait", String(wait));
  }
  return call(`/v1/conversations/${encodeURIComponent(conversation)}?${query}`, (wait + 15) * 1000, {}, signal);
}

async function call(path, timeout, options, signal) {
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), timeout);
  const end = () => stop.abort();
  signal?.addEventListener("abort", end);
  try {
    const asked = Date.now();
    const response = await fetch(path, {
      ...options, signal: stop.signal, cache: "no-store", credentials: "same-origin", redirect: "error",
    });
    const kind = response.headers.get("Content-Type") ?? "";
    const wanted = response.ok ? "application/json" : "application/problem+json";
    if (!kind.startsWith(wanted)) {
      // Somebody else: a network's sign-in page, a proxy. What it says of the
      // service, or of the time, is not the service's word.
      return [429, 503].includes(response.status) ? outcome(response) : { kind: "away" };
    }
    setClock(response.headers.get("Date"), asked);
    return response.ok ? { kind: "ok", body: await response.json() } : outcome(response);
  } catch {
    return { kind: "away", stopped: signal?.aborted ?? false };
  } finally {
    clearTimeout(timer);
    signal?.removeEventListener("abort", end);
  }
}

// reasons are the words for what a person can do about a refusal.
const reasons = { 403: "whyPlace", 409: "whyTwice", 421: "whyPlace", 507: "whyFull" };

// outcome sorts an error by what the page can do about it.
function outcome(response) {
  switch (response.status) {
    case 401:
      return { kind: "unpaired" };
    case 404:
      return { kind: "missing" };
    case 410:
      return { kind: "gone" };
    case 408:
    case 429:
    case 503:
      return { kind: "wait", seconds: retryAfter(response) };
  }
  if (response.status >= 500 && response.status !== 507) {
    return { kind: "away" };
  }
  return { kind: "refused", why: reasons[response.status] ?? "whyText" };
}

// retryAfter is how long to wait, 1 to 300 seconds; the header is a number of
// seconds or a date (RFC 9110, section 10.2.3).
function retryAfter(response) {
  const text = response.headers.get("Retry-After") ?? "";
  let seconds = Number.parseInt(text, 10);
  if (Number.isNaN(seconds)) {
    seconds = Math.ceil((Date.parse(text) - now().getTime()) / 1000);
  }
  return Number.isNaN(seconds) ? 5 : Math.min(300, Math.max(1, seconds));
}

// setClock learns the service's clock from its Date header, to the second.
function setClock(date, asked) {
  const at = Date.parse(date ?? "");
  if (Number.isNaN(at)) {
    return;
  }
  const mine = (asked + Date.now()) / 2;
  const difference = at + 500 - mine;
  offset = Math.abs(difference) > 2000 ? difference : 0;
}
