/** The big number, the string as it builds up, and what it says: in words and shape as well as colour. */

import { el } from "../../board/dom.js";
import { MISREADS } from "./keys.js";
import { asRead, difference, readIn, shown, UNITS } from "./speeds.js";

const SVG = "http://www.w3.org/2000/svg";
const SHAPES = {
  pass: "M50 6a44 44 0 1 0 .1 0zM28 51 44 67 74 35",
  some: "M50 6a44 44 0 1 0 .1 0zM50 6v88M22 50h18",
  turn_down: "M6 20h88L50 94z",
  inconclusive: "M10 10h80v80H10zM36 38c0-22 30-22 30 0 0 14-16 12-16 24M50 72v6",
  open: "M50 10a40 40 0 1 0 .1 0M50 34v32M34 50h32",
  idle: "M12 22v56M26 22v56M36 22v56M52 22v56M62 22v56M78 22v56M88 22v56",
  trusted: "M50 6a44 44 0 1 0 .1 0zM28 51 44 67 74 35",
  doubted: "M34 8h32l26 26v32L66 92H34L8 66V34zM32 32 68 68M68 32 32 68",
};
export const WORDS = { pass: "PASS", some: "PASS FOR SOME", turn_down: "TURN DOWN", inconclusive: "NOTHING DECIDED", open: "SHOOT", idle: "SCAN A MARKER" };

export function shape(kind) {
  const svg = document.createElementNS(SVG, "svg");
  svg.setAttribute("viewBox", "0 0 100 100");
  const path = document.createElementNS(SVG, "path");
  path.setAttribute("d", SHAPES[kind]);
  svg.append(path);
  return svg;
}

/** What the big panel says of an answer of the bench. */
export function state(view, checking) {
  const { string, last } = view;
  if (checking) return { kind: "open", word: "CHECK", sentence: "Shoot through the chronograph and the reference at once, and enter what both read.", by: null };
  if (string?.set_up_changed) {
    return { kind: "inconclusive", word: "BEGIN AGAIN", sentence: "The set-up was changed amid this string: it will not count. Scan the marker again.", by: null };
  }
  if (string?.to_come === 0) return { kind: "open", word: "WAIT", sentence: "The string is ended: the verdict comes when the park answers.", by: null };
  if (string) {
    const fast = string.fields.length > 0 && string.fields.every((one) => one.verdict === "turn_down");
    const turns = string.fields.map((one) => one.judgement.turn_down_fps).filter((one) => one !== undefined);
    if (fast) return { kind: "turn_down", word: WORDS.turn_down, sentence: "Already too fast, however the rest reads. Shoot the string out, or end it with A.", by: turns.length ? Math.min(...turns) : null };
    const more = string.to_come === 1 ? "One reading" : `${string.to_come} readings`;
    return { kind: "open", word: WORDS.open, sentence: `${more} to come.`, by: null };
  }
  if (view.refused) return { kind: "inconclusive", word: "NO STRING", sentence: "What is shot now counts for no marker. Scan or type it again.", by: null };
  if (last) return { kind: last.verdict, word: WORDS[last.verdict], sentence: last.sentence, by: last.turn_down_fps ?? null };
  return { kind: "idle", word: WORDS.idle, sentence: "Scan or type a marker, then Enter: its string begins.", by: null };
}

/** Fill the panel. */
export function show(of, view, check) {
  const one = check ? null : (view.string ?? view.last);
  const told = state(view, Boolean(check));
  of("who").querySelector("h2").textContent = check ? `A check of ${view.chrono}` : one || view.refused ? `Marker ${one?.marker ?? view.refused}` : "No marker";
  of("who").querySelector("p").textContent = one ? about(view) : "";
  const shots = check ? check.pairs.map(([reading]) => ({ speed_fps: reading })) : (one?.shown ?? []);
  const newest = shots.at(-1);
  const [output, unit] = of("number").children;
  output.textContent = newest ? number(newest, view.unit, one) : NONE;
  output.className = output.textContent.length > 3 ? "long" : "";
  unit.textContent = check ? readIn(view.unit) : `${UNITS[view.unit]}${newest?.misread ? " · misread" : ""}`;
  const panel = of("verdict");
  panel.className = told.kind;
  panel.querySelector(".shape").replaceChildren(shape(told.kind));
  panel.querySelector("strong").textContent = told.kind === "turn_down" && told.by !== null ? `${told.word} ${difference(told.by, view.unit)}` : told.word;
  panel.querySelector("p").textContent = told.sentence;
  of("shots").replaceChildren(...shots.map((shot, at) => chip(shot, at, view.unit, one)), ...(check ? [] : toCome(view)));
  of("fields").replaceChildren(...(one?.fields ?? []).map(field));
}

function about(view) {
  const one = view.string ?? view.last;
  const parts = [one.calibre && `calibre ${one.calibre}`, !one.unsent && `ball ${one.ball_g} g`, one.sealed && "sealed"];
  if (one.test === view.string?.test) parts.unshift("string open");
  else parts.unshift("string ended");
  return parts.filter(Boolean).join(" · ");
}

const NONE = "---";
const number = (shot, unit, one) => ((shot.speed_fps ?? null) === null ? NONE : one ? shown(shot.speed_fps, unit, one.ball_g) : asRead(shot.speed_fps, unit));
const NAMES = Object.fromEntries(MISREADS);

function chip(shot, at, unit, one) {
  const kind = shot.misread ? "misread" : "reading";
  const note = shot.misread ? NAMES[shot.misread] : "";
  return el("li", { class: `${kind}${shot.pending ? " pending" : ""}` }, el("b", {}, number(shot, unit, one)), note && el("small", {}, note), shot.pending && el("small", {}, "not sent yet"));
}

function toCome(view) {
  return Array.from({ length: view.string?.to_come ?? 0 }, () => el("li", { class: "to-come" }, el("b", {}, "·"), el("small", {}, "to come")));
}

function field(one) {
  const item = el("li", { class: one.verdict, "data-field": one.field }, el("span", {}, one.line));
  item.prepend(shape(one.verdict));
  return item;
}
