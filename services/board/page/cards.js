/** The parts of the board: fields with their games, stations with their queues. */

import { armband, el, minutes, shape, swatch, words } from "./dom.js";

const WAITS_SHOWN = 4;
const ARMBANDS_SHOWN = 6;
const GROUPS_SHOWN = 4;

/** A game's clock: it runs by itself from facts, and `tick` shows it at a moment. */
export class GameClock extends HTMLElement {
  set facts(clock) {
    this.clock = clock;
    this.time = el("b", { class: "time" });
    this.label = el("span", { class: "label" });
    this.replaceChildren(this.time, this.label);
  }

  tick(now) {
    const { started_at, minutes: whole, held_seconds, stopped_at } = this.clock;
    const until = stopped_at ? Date.parse(stopped_at) : now;
    const played = Math.max(0, (until - Date.parse(started_at)) / 1000 - held_seconds);
    const left = Math.ceil(whole * 60 - played);
    const label = left < 0 ? "over time" : stopped_at ? "left, clock stopped" : `left of ${whole} min`;
    this.classList.toggle("over", left < 0);
    this.classList.toggle("stopped", Boolean(stopped_at));
    if (this.time.textContent !== minutes(left)) this.time.textContent = minutes(left);
    if (this.label.textContent !== label) this.label.textContent = label;
  }
}

/** One field, as a sign at its gate. */
export class FieldCard extends HTMLElement {
  #watched = new ResizeObserver(() => this.#render());

  connectedCallback() {
    this.#watched.observe(this);
  }

  disconnectedCallback() {
    this.#watched.disconnect();
  }

  show(name, field, clockTime) {
    const told = JSON.stringify(field);
    if (told === this.told) return;
    this.told = told;
    this.field = field;
    this.clockTime = clockTime;
    this.dataset.field = name;
    this.#render();
  }

  #render() {
    const field = this.field;
    this.dataset.state = field.state;
    this.tabIndex = 0;
    this.setAttribute("role", "group");
    this.setAttribute("aria-label", `${field.title}: ${field.state}`);
    this.replaceChildren(
      el("h2", {}, el("span", { class: "title" }, field.title), el("small", {}, field.limit && `limit ${field.limit}`)),
      el("p", { class: "state" }, shape(field.state), el("b", {}, field.state)),
      el("div", { class: "body" }, ...body(field, this.clockTime)),
    );
    this.tick(this.now);
    this.#fit();
  }

  /** What the game waits for, as far as there is room for it, and how much more there is. */
  #fit() {
    const next = this.querySelector(".next");
    while (next && next.scrollHeight > next.clientHeight + 1 && next.querySelector(".waits li:not(.more)")) {
      dropOne(next.querySelector(".waits"));
    }
  }

  tick(now) {
    this.now = now;
    this.querySelector("game-clock")?.tick(now);
  }
}

function* body(field, clockTime) {
  for (const reason of field.why) yield el("p", { class: "why" }, reason);
  for (const hold of field.holds) yield holdLine(hold, field.inside);
  if (field.count) yield countLine(field.count);
  if (field.clock) yield playing(field);
  else if (field.non_players) yield el("p", { class: "why" }, `${field.non_players} inside who do not play`);
  if (field.next) yield upcoming(field.next, !field.clock && !field.holds.length);
  else if (!field.clock && !field.count && !field.why.length) yield el("p", { class: "why" }, "No game called");
  if (field.then) yield el("ul", { class: "then", "aria-label": "Planned after that" }, ...field.then.map((game) => laterLine(game, clockTime)));
}

/** A game of the published plan: about when, and for which groups. */
function laterLine(game, clockTime) {
  const who = [...game.groups];
  if (game.alone) who.push(`${game.alone} on ${game.alone === 1 ? "his" : "their"} own`);
  return el(
    "li",
    {},
    el("b", {}, `about ${clockTime(game.at)}`),
    ` ${who.slice(0, GROUPS_SHOWN).join(", ")}`,
    more(who.length - GROUPS_SHOWN, "span"),
    game.private && el("small", {}, " private"),
  );
}

function holdLine(hold, inside) {
  const confirmed = hold.confirmed_at ? "confirmed" : "not confirmed";
  return el("p", { class: "hold-line" }, el("b", {}, words(hold.cause)), ` — ${confirmed}, ${inside} inside`);
}

function countLine(count) {
  if (!count.counted) return el("p", { class: "why" }, "Count the heads before anybody enters");
  if (!count.missing.length) return el("p", { class: "why" }, "The count does not add up: count again or sweep");
  const told = count.short < count.missing.length ? `${count.short} missing, one of: ` : "Missing: ";
  return el("p", { class: "why" }, told, ...count.missing.map(armband));
}

function playing(field) {
  const clock = el("game-clock");
  clock.facts = field.clock;
  const teams = Object.entries(field.teams).map(([colour, team]) =>
    el("li", {}, swatch(colour), el("b", {}, colour), ` ${team.playing} in`, el("small", {}, ` ${team.out} out`)),
  );
  if (field.non_players) teams.push(el("li", {}, el("b", {}, "not playing"), ` ${field.non_players} in`));
  return el("div", { class: "playing" }, clock, el("ul", { class: "teams" }, ...teams));
}

function upcoming(next, only) {
  const teams = Object.entries(next.teams);
  const all = teams.reduce((sum, [, count]) => sum + count, 0);
  const waits = Object.entries(next.waits_for).sort(fieldsOwnFirst);
  return el(
    "div",
    { class: only ? "next only" : "next" },
    el(
      "p",
      { class: "next-head" },
      el("b", {}, "Next"),
      el("span", {}, `${next.format}, ${next.minutes} min`),
      ...teams.map(([colour, count]) => el("span", { class: "armband" }, swatch(colour), `${colour}: ${count} ${count === 1 ? "player" : "players"}`)),
      el("span", { class: waits.length ? "ready" : "ready all" }, waits.length ? `${next.ready} of ${all} ready` : "ready to start"),
    ),
    el("ul", { class: "waits" }, ...waits.slice(0, WAITS_SHOWN).map(waitLine), more(waits.length - WAITS_SHOWN, "li")),
  );
}

/** What stands in the way of the whole game first, then what holds back most players. */
function fieldsOwnFirst([, one], [, other]) {
  if (!one.who.length || !other.who.length) return one.who.length - other.who.length;
  return other.who.length - one.who.length;
}

function waitLine([code, wait]) {
  const shown = wait.who.slice(0, ARMBANDS_SHOWN).map(armband);
  return el(
    "li",
    { title: wait.sentence },
    el("b", {}, words(code)),
    el("span", { class: "where" }, ` → ${wait.where} `),
    ...shown,
    more(wait.who.length - ARMBANDS_SHOWN, "span"),
  );
}

/** Leave out the last armband of the last reason; the reason itself, where one armband is all it has. */
function dropOne(list) {
  const last = [...list.querySelectorAll("li:not(.more)")].at(-1);
  const bands = last.querySelectorAll(".armband");
  const [from, gone] = bands.length > 1 ? [last, bands[bands.length - 1]] : [list, last];
  const before = from.querySelector(":scope > .more");
  gone.remove();
  before?.remove();
  from.append(more(Number(before?.dataset.count ?? 0) + 1, from === list ? "li" : "span"));
}

function more(count, name) {
  return count > 0 && el(name, { class: "more", "data-count": count }, `and ${count} more`);
}

/** A range of minutes, in words. */
export function range({ low = 0, high = 0 }) {
  const [from, to] = [Math.round(low), Math.round(high)];
  if (to < 1) return "less than 1 min";
  return from === to ? `about ${to} min` : `${from}–${to} min`;
}

/** One station: how many wait there and for how long, and what it did last. */
export class StationTile extends HTMLElement {
  show(name, station, clockTime) {
    const told = JSON.stringify(station);
    if (told === this.told) return;
    this.told = told;
    this.dataset.station = name;
    this.classList.toggle("waiting", station.waiting > 0);
    this.replaceChildren(
      el("span", { class: "name" }, name),
      el("b", { class: "count" }, String(station.waiting)),
      el("small", {}, station.wait && station.waiting > 0 && el("b", {}, `${range(station.wait)} to wait. `), station.last ? `${clockTime(station.last.at)} ${station.last.what}` : "nothing yet"),
    );
  }
}

customElements.define("game-clock", GameClock);
customElements.define("field-card", FieldCard);
customElements.define("station-tile", StationTile);
