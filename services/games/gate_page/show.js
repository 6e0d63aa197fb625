/** The answer, across the yard: a word, a shape and a colour; every reason with where to go; and how old what it rests on is. */

import { el } from "../../board/dom.js";

const SHAPES = {
  none: "M50 14a36 36 0 1 0 .1 0z",
  cleared: "M50 6a44 44 0 1 0 .1 0zM26 52 44 70 76 34",
  "not-cleared": "M34 6h32l28 28v32L66 94H34L6 66V34zM32 32 68 68M68 32 32 68",
};
const WORDS = { none: "Scan the next pass", cleared: "CLEARED", "not-cleared": "NOT CLEARED" };
const MINUTE = 60_000;
const MANY = 3;

/** A span as a person says it. */
export function span(milliseconds) {
  if (!Number.isFinite(milliseconds)) return "of unknown age: this device's clock was changed";
  const seconds = Math.round(milliseconds / 1000);
  return seconds < 90 ? `${seconds} s old` : `${Math.round(milliseconds / MINUTE)} min old`;
}

/** Whether the park answers; if not, by what the gate goes, how old that is and for how long more; and what waits to be sent. */
export function showLink(of, { live, list, age, old, at, outbox }) {
  const count = outbox.waiting.length;
  const rest = list ? Math.max(0, Math.floor(list.offline_minutes - age / MINUTE)) : 0;
  const known = !list
    ? "Nothing is known here yet: NOBODY IS CLEARED."
    : old
      ? `What this gate knows is ${span(age)}, too old: NOBODY IS CLEARED.`
      : `It answers by what it knew at ${at}, ${span(age)}; ${rest} min more.`;
  document.body.classList.toggle("stale", !live);
  document.body.classList.toggle("too-old", !live && old);
  of("link").textContent = [
    live ? "● live" : `✖ NOT CONNECTED. ${known}`,
    count && `${count} let in, not sent yet: kept, and sent in order.`,
    outbox.unkept && "This device has no room for it: leave the page open.",
  ].filter(Boolean).join(" ");
}

/** `shown` is null before the first code; `age` says how old the list is. */
export function show(of, shown, { age, offline }) {
  const name = shown === null ? "none" : shown.cleared ? "cleared" : "not-cleared";
  of("answer").dataset.answer = name;
  document.querySelector("#shape path").setAttribute("d", SHAPES[name]);
  document.querySelector("#verdict strong").textContent = WORDS[name];
  of("who").textContent = shown?.armband ? `Armband ${shown.armband}${shown.part && shown.part !== "player" ? ` · ${shown.part}` : ""}${shown.group ? ` · ${shown.group}` : ""}` : "";
  const reasons = shown?.reasons ?? [];
  of("answer").classList.toggle("many", reasons.length > MANY);
  of("reasons").replaceChildren(...reasons.map(({ sentence, where }) => el("li", {}, el("span", {}, sentence), el("b", {}, `→ ${where}`))));
  of("knew").textContent = shown && offline ? `By what this gate knew last, ${span(age)}.${shown.unchecked ? " The pass's signature was not checked here." : ""}` : "";
}
