// Everything that the page itself says, in the language of the browser. What the
// service says comes worded.

import english from "./words.en.js";
import german from "./words.de.js";
import spanish from "./words.es.js";

const all = { en: english, de: german, es: spanish };

// language is the first of the browser's that the page has.
export const language = navigator.languages.map((l) => l.toLowerCase().split("-")[0]).find((l) => Object.hasOwn(all, l)) ?? "en";

export const words = all[language];

// clock writes the time of day of an ISO time.
export function clock(iso) {
  const at = new Date(iso);
  return Number.isNaN(at.getTime()) ? "" : at.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
}
