/** The counter in words and shapes: who stands here with what, the piece in hand, the spares and what is still out. */

import { el } from "../../board/dom.js";

export const words = (code) => code.replaceAll("_", " ");
const MARK = { good: "✔", bad: "✖", open: "?" };
const mark = (kind) => el("span", { class: `mark ${kind}`, "aria-hidden": "true" }, MARK[kind]);

function facts(piece, day) {
  const told = [piece.owner ? "his own" : "", piece.calibre, piece.firing_mode, piece.kind === "bottle" ? piece.gas : ""];
  if (piece.test_due) told.push(piece.test_due < day ? `OUT OF TEST since ${piece.test_due}` : `in test until ${piece.test_due}`);
  return told.filter(Boolean).join(" · ");
}

/** What the chronograph says of a marker, field by field. */
function measured(fields) {
  const one = ({ line, cleared, reasons }) => el("li", { class: cleared ? "good" : "bad" }, mark(cleared ? "good" : "bad"), ` ${line}`, cleared ? "" : ` (${[...new Set(reasons.map(({ code }) => words(code)))].join(", ")})`);
  return el("ul", { class: "measured", "aria-label": "Measured for" }, ...fields.map(one));
}

const why = (piece) => el("ul", { class: "why" }, ...(piece.reasons ?? []).map((one) => el("li", {}, one.sentence, " ", el("em", {}, `→ ${one.where}`))));

function row(piece, { day, measures, waiting, pick }) {
  const bad = (piece.reasons ?? []).length > 0;
  const fields = piece.kind === "marker" ? measures.get(piece.name) : undefined;
  const sent = waiting.has(piece.name) ? " · not sent yet" : "";
  const button = el("button", { type: "button", "data-piece": piece.name, class: waiting.has(piece.name) ? "pending" : undefined }, mark(bad ? "bad" : "good"), el("span", { class: "kind" }, piece.kind), el("b", {}, piece.name), el("small", {}, facts(piece, day) + sent));
  button.addEventListener("click", () => pick(piece));
  return el("li", {}, button, bad && why(piece), fields && measured(fields));
}

export function customer(view, given) {
  const { customer: who } = view;
  if (!who) return [el("h2", {}, "Nobody stands here"), el("p", { class: "small" }, "Scan a day pass, or type the number of an armband.")];
  const leave = el("button", { type: "button", id: "leave" }, el("kbd", {}, "N"), " Next, please");
  leave.addEventListener("click", given.leave);
  const list = who.gear.map((piece) => row(piece, { ...given, day: view.day }));
  const lacks = ["mask", "marker"].filter((kind) => !who.gear.some((one) => one.kind === kind));
  return [
    el("div", { class: "who" }, el("h2", {}, el("b", { class: "number" }, String(who.armband)), " ", el("small", {}, who.player)), leave),
    el("ul", { class: "gear", "aria-label": "What he has" }, ...list),
    lacks.length > 0 && el("p", { class: "lacks" }, `He has no ${lacks.join(" and no ")}.`),
  ].filter(Boolean);
}

/** `pieces`: what bears the code; one of them is in hand, or each is to be chosen. */
export function hand(view, pieces, given) {
  if (pieces.length === 0) return [el("h2", {}, "Nothing in hand"), el("p", { class: "small" }, "Scan a marker, a mask or a bottle.")];
  if (pieces.length > 1) return [el("h2", {}, "Which of them is it?"), el("ul", { class: "gear" }, ...pieces.map((piece) => row(piece, { ...given, day: view.day })))];
  const [piece] = pieces;
  const bad = (piece.reasons ?? []).length > 0;
  const who = piece.holder ? `with ${given.whoIs(piece.holder)}` : "at the counter";
  const state = bad ? "No" : piece.holder ? `Out, ${who}` : "Ready";
  const fields = piece.kind === "marker" ? given.measures.get(piece.name) : undefined;
  return [
    el("h2", {}, el("span", { class: "kind" }, piece.kind), " ", el("b", {}, piece.name)),
    el("p", { class: "small" }, [facts(piece, view.day), who].filter(Boolean).join(" · ")),
    el("div", { id: "verdict", class: bad ? "no" : "yes" }, mark(bad ? "bad" : piece.holder ? "open" : "good"), el("strong", {}, state), bad && why(piece), piece.faults && el("p", {}, `Found: ${piece.faults.map(words).join(", ")}.`)),
    fields && measured(fields),
    piece.kind === "marker" && !fields && el("p", { class: "small" }, "What the chronograph says of it is not known here yet."),
    el("div", { id: "acts", class: "row" }, ...given.buttons(piece)),
    given.choice(piece),
  ].filter(Boolean);
}

export function spares({ spares: rows }) {
  if (rows.length === 0) return [el("p", { class: "small" }, "The park has no gear of its own on record.")];
  const heads = ["", "ready", "out", "out of use", "out of test"];
  const body = rows.map((one) => el("tr", { class: one.ready === 0 ? "none" : undefined }, el("th", { scope: "row" }, `${one.kind} ${one.model}`), el("td", { class: "ready" }, one.ready === 0 ? "NONE" : String(one.ready)), ...[one.out, one.quarantined, one.out_of_test].map((count) => el("td", {}, String(count)))));
  return [el("table", {}, el("thead", {}, el("tr", {}, ...heads.map((head) => el("th", { scope: "col" }, head)))), el("tbody", {}, ...body))];
}

const MOST = 40;
export function out({ out: pieces }, clock, pick) {
  const rows = pieces.slice(0, MOST).map((one) => {
    const button = el("button", { type: "button", "data-out": one.name, class: one.other_day ? "overdue" : undefined }, el("b", {}, one.armband ? String(one.armband) : "?"), ` ${one.kind} ${one.name}`, el("small", {}, one.other_day ? `NOT BACK since ${one.since.slice(0, 10)}` : `since ${clock(one.since)}`));
    button.addEventListener("click", () => pick(one.name));
    return el("li", {}, button);
  });
  return pieces.length > MOST ? [...rows, el("li", { class: "small" }, `and ${pieces.length - MOST} more`)] : rows;
}
