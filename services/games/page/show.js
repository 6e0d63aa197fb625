/** Puts the field on the page: its state, its clock, what is open, what is offered, what was touched. Nothing that can be touched is made anew. */

import { el, minutes, shape } from "../../board/dom.js";
import { name } from "./hands.js";
import { left } from "./since.js";

const STATES = {
  closed: "CLOSED", open: "OPEN, no game called", called: "CALLED", briefed: "BRIEFED", live: "LIVE",
  "hold asked": "STOPPED: confirm", held: "HELD", counting: "COUNT HEADS",
};
const OFFERED = {
  confirm: (view) => view.holds.some((one) => !one.confirmed_at),
  resume: (view) => view.holds.length > 0,
  came: (view) => view.aid.length > 0,
  brief: (view) => view.gathered && !view.playing && !view.gathered.briefed,
  start: (view) => view.gathered && !view.playing,
  count: (view) => view.counting.length > 0,
  found: (view) => view.counting.some((one) => one.missing.length > 0),
  sweep: (view) => view.counting.length > 0,
  out: (view) => view.playing,
  walk: (view) => view.playing,
  letin: (view) => view.playing && view.playing.format !== "elimination",
  caution: (view) => view.playing || view.counting.length > 0,
  paint: (view) => view.playing,
  spot: (view) => view.playing,
  swap: (view) => view.playing,
  end: (view) => view.playing,
  abandon: (view) => view.playing || view.gathered,
};

const put = (where, words) => {
  if (where.textContent !== words) where.textContent = words;
};

export function clockTime(instant, zone) {
  return new Date(instant).toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit", second: "2-digit", timeZone: zone ?? "UTC" });
}

export function show(of, view, outbox, log) {
  put(of("title"), view.title);
  document.body.dataset.state = view.state;
  put(of("state").querySelector("strong"), STATES[view.state]);
  if (of("shape").dataset.state !== view.state) {
    of("shape").dataset.state = view.state;
    of("shape").replaceChildren(shape(view.state));
  }
  put(of("about"), about(view));
  lines(of("told"), told(view));
  for (const button of document.querySelectorAll("[data-act]")) button.hidden = !OFFERED[button.dataset.act](view);
  document.querySelector("[data-act=start]").classList.toggle("loud", Boolean(view.gathered?.briefed));
  const entry = log.undoable(view.undo_minutes);
  put(of("undo").querySelector("small"), entry ? entry.words : "nothing to undo");
  of("undo").disabled = !entry;
  put(of("stop").querySelector("small"), view.title);
  touches(of("touches"), view, outbox, log);
}

function about({ playing, gathered, why, limit }) {
  if (playing) return `${playing.format} · ${teams(playing.people.filter((one) => one.part === "player"))}`;
  if (gathered) return `${gathered.format}, ${gathered.minutes} minutes · ${teams(gathered.people)}`;
  return (why ?? []).join(" ") || `Bench limit ${limit}`;
}

function teams(people) {
  const counts = new Map();
  for (const { colour } of people) counts.set(colour ?? "no colour", (counts.get(colour ?? "no colour") ?? 0) + 1);
  return [...counts].map(([colour, count]) => `${count} ${colour}`).join(" · ");
}

/** What stands: holds, heads, calls for first aid, a next game behind the one that is on. */
function told(view) {
  const at = (instant) => clockTime(instant, view.time_zone);
  return [
    ...view.aid.map((one) => `First aid called ${one.place === "gate" ? "to the gate" : "to the field"} at ${at(one.at)}`),
    ...view.holds.map((one) => `Stopped at ${at(one.asked_at)}${one.cause === "other" ? "" : ` (${one.cause.replaceAll("_", " ")})`}${one.confirmed_at ? `, confirmed ${at(one.confirmed_at)}` : ": stop play, covers on, then confirm"}. Masks stay on.`),
    ...view.counting.map(heads),
    ...(view.playing && view.gathered ? [`Next is called: ${teams(view.gathered.people)}`] : []),
  ];
}

function heads({ counted, expected, missing, search_open: search, sent }) {
  if (sent) return `Counted ${counted}: not answered yet`;
  if (counted === undefined) return "Count everybody who comes off";
  const who = missing.map(name).join(", ");
  if (search) return `Search open${who ? ` for ${who}` : ""}`;
  if (counted > expected) return `${counted} came off where ${expected} were expected: count again`;
  return `${expected - counted} missing${who ? `, among: ${who}` : ""}. Keep the field shut.`;
}

function lines(where, words) {
  if (where.dataset.told === JSON.stringify(words)) return;
  where.dataset.told = JSON.stringify(words);
  where.replaceChildren(...words.map((one) => el("li", {}, one)));
}

const SHOWN = 4;
function touches(where, view, outbox, log) {
  const waiting = new Set(outbox.waiting.map((one) => one.key));
  const entries = log.entries.slice(0, SHOWN).map((one) => {
    const state = one.refused ? "refused" : one.keys.some((key) => waiting.has(key)) ? "unsent" : one.undone ? "undone" : "recorded";
    return { ...one, state };
  });
  const told = JSON.stringify(entries);
  if (where.dataset.told === told) return;
  where.dataset.told = told;
  const words = { refused: "✖ not recorded", unsent: "… not sent yet", undone: "↶ undone", recorded: "✔ recorded" };
  where.replaceChildren(...entries.map((one) => el("li", { class: one.state }, el("b", {}, clockTime(one.at, view.time_zone)), ` ${one.words} `, el("i", {}, words[one.state]), one.refused && el("span", {}, ` ${one.refused}`))));
}

/** The game's clock as it stands at a moment: what is left, or how far it is over. */
export function tick(of, view, now) {
  put(of("park-time"), clockTime(now, view.time_zone));
  const clock = view.playing?.clock;
  of("clock").hidden = !clock;
  if (!clock) return;
  const rest = left(clock, now.getTime());
  put(of("clock"), rest >= 0 ? minutes(Math.ceil(rest)) : `+${minutes(rest)} over`);
  of("clock").classList.toggle("over", rest < 0);
  of("clock").classList.toggle("stopped", Boolean(clock.stopped_at));
}
