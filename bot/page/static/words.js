// Everything that the page itself says. What the service says comes worded.

export const words = {
  aloud: "Read aloud",
  more: "More",
  send: "Send",
  signKey: "Change the sign",
  textKeys: "abc keys",
  numberKeys: "123 keys",
  log: "Conversation",
  answers: "Answers to choose from",
  commands: "Words that work at any time",
  answerLabel: "Your answer",
  answerHint: "Type an answer",
  units: { mm: "mm", in: "in", deg: "°" },
  unitNames: { mm: "millimetres", in: "inches", deg: "degrees" },
  reading: "Reading",
  confirm: (word) => `Answer with the word ${word}`,
  // Words that a person may type anywhere, as the service knows them.
  commandWords: ["menu", "where", "back", "skip", "park", "help", "stop"],
  sayAgain: "Read the last message aloud",
  awakeYes: "The screen stays on while a job runs.",
  awakeNo: "This browser lets the screen go dark: it keeps it on for pages over https only. A longer screen timeout in the phone's settings helps.",
  notKept: "This browser keeps nothing for the page: a message that waits is lost when the page is closed.",

  you: "You",
  service: "Shimwright",
  caution: "Caution",
  welcome: "Stand at the saw with this page open. One question at a time, answered with a number or a word. Say level to start with the slider.",
  welcomeChoices: ["level", "menu", "help"],

  sending: "Sending…",
  sent: (time) => `Sent ${time}`,
  kept: "Kept here. It is sent when the service is back.",
  discard: "Do not send it",
  remove: "Remove",
  useAgain: "Use it again",
  refused: (why) => `Not taken: ${why}`,
  ackNotKept: "Not sent, and not kept: this must be true at the moment it is said. It is asked again.",
  afterAck: "Not sent: it came after a word that is asked again.",
  asksAgain: (word) => `“${word}” was not sent while the service was away, because it must be true now. Check it again at the saw, then answer.`,
  askedAgain: "Asked again",

  expired: "No longer valid. Ask again before a hand goes near the saw.",
  expiredGone: "An instruction stood here. Its time is over: ask again before a hand goes near the saw.",
  askWhere: "where",
  pictureGone: (alt) => `The picture cannot be shown now. It says: ${alt}`,

  away: "The service does not answer. What you type is kept; words that confirm safety are asked again.",
  wait: (seconds) => `The service asks to wait ${seconds} seconds. What you type is kept.`,
  unpaired: "This device is not paired with the service. On the computer that runs it, type: go run ./bot pair. Then scan the code that it prints, or open its link, with this device.",
  tryAgain: "Try again",
  tooOld: "That was handled, but its answer is no longer safe to follow. Say where, to be asked again.",
  gone: "There is nothing under this address.",
};

// clock writes the time of day of an ISO time.
export function clock(iso) {
  const at = new Date(iso);
  return Number.isNaN(at.getTime()) ? "" : at.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
}
