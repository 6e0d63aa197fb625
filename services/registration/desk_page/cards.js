/** The cards of those who stand at the desk: cleared or not, what the desk clears here, and where to go for the rest. */

import { el } from "../../board/dom.js";
import { aged } from "./party.js";

const SVG = "http://www.w3.org/2000/svg";
const PATHS = { cleared: "M16 54 40 78 86 22", "not cleared": "M18 18 82 82M82 18 18 82", waits: "M28 12h44M28 88h44M32 12c0 28 36 46 36 76M68 12c0 28-36 46-36 76" };

/** Which letter clears a reason at the desk. */
export const CLEARS = {
  waiver_missing: "W",
  waiver_old_version: "W",
  waiver_expired: "W",
  consent_missing: "G",
  guardian_gone: "G",
  entry_unpaid: "P",
  entry_voided: "P",
  briefing_missing: "B",
  briefing_outdated: "B",
  left_park: "C",
};

function mark(verdict) {
  const svg = document.createElementNS(SVG, "svg");
  svg.setAttribute("viewBox", "0 0 100 100");
  svg.setAttribute("aria-hidden", "true");
  const path = document.createElementNS(SVG, "path");
  path.setAttribute("d", PATHS[verdict]);
  svg.append(path);
  return svg;
}

/** A card; `act(letter, card)` is what its buttons do. */
export function cardOf(card, name, act, { live }) {
  const here = card.reasons.filter((reason) => reason.code in CLEARS);
  const elsewhere = card.reasons.filter((reason) => !(reason.code in CLEARS));
  const verdict = card.cleared ? "cleared" : card.reasons.length === 0 ? "waits" : "not cleared";
  const waits = card.pending.length === 0 ? "WAS CLEARED" : live ? "BEING SENT" : "NOT SENT YET";
  const word = { cleared: "CLEARED", waits, "not cleared": "NOT CLEARED" }[verdict];
  return el(
    "article",
    { class: `card ${verdict.replace(" ", "-")}`, "data-player": card.player, "data-person": card.person },
    el(
      "header",
      {},
      el("p", { class: "armband" }, el("small", {}, "Armband"), String(card.armband)),
      el("div", { class: "who" }, name && el("h3", {}, name), el("p", {}, aged(card.age_band), card.minor && el("em", {}, "MINOR")), el("p", { class: "small" }, [card.part !== "player" && card.part, card.group && `group ${card.group}`, `pass ${card.day_pass}`].filter(Boolean).join(" · "))),
      el("p", { class: "verdict" }, mark(verdict), el("strong", {}, word)),
    ),
    here.length > 0 && el("ul", { class: "here" }, ...here.map((reason) => el("li", {}, button(CLEARS[reason.code], `${reason.sentence}`, () => act(CLEARS[reason.code], card))))),
    card.pending.length > 0 && el("p", { class: "pending" }, `Recorded here, not seen by the park yet: ${card.pending.map((reason) => reason.code.replaceAll("_", " ").replace(/ (missing|unpaid|voided|expired)$/, "")).join(", ")}.`),
    elsewhere.length > 0 && el("ul", { class: "elsewhere" }, ...places(elsewhere)),
    el("footer", { class: "row" }, button("X", "Print pass", () => act("X", card)), button("R", "New pass …", () => act("R", card)), button("", "Off the list", () => act("off", card))),
  );
}

/** Where to go for what the desk does not clear: a line a place. */
function places(reasons) {
  const by = Map.groupBy(reasons, (reason) => reason.where);
  return [...by].map(([where, some]) => el("li", {}, el("b", {}, `→ ${where}: `), some.map((reason) => reason.sentence).join(" ")));
}

export function button(letter, words, act, { pressed, name } = {}) {
  const made = el("button", { type: "button", "data-act": name ?? letter, "aria-pressed": pressed === undefined ? undefined : String(pressed) }, letter && el("kbd", {}, letter), letter && " ", words);
  made.addEventListener("click", act);
  return made;
}
