/** The wall screen: puts the followed status on the page, and says so plainly when it is stale. */

import { range } from "./cards.js";
import { el, words } from "./dom.js";
import { Follower } from "./follow.js";

const ALERTS_SHOWN = 3;
const REASONS_SHOWN = 5;
const COLUMNS = [1, 1, 2, 3, 4, 3, 3, 4, 4, 3, 4, 4, 4];
const DAY = { weekday: "long", day: "numeric", month: "long", timeZone: "UTC" };
const PEOPLE = [
  ["cleared", "cleared"],
  ["not_cleared", "not cleared"],
  ["on_field", "on a field"],
  ["sitting_out", "sitting out"],
  ["stood_down", "stood down"],
  ["ejected", "ejected"],
  ["gone_home", "gone home"],
  ["minors_here", "minors still here", "minor still here"],
];

const byId = (id) => document.getElementById(id);
const follower = new Follower("board/stream");
let zone = "UTC";

/** A moment by the park's clock. */
function clockTime(moment, seconds = false) {
  const parts = { timeZone: zone, hour: "2-digit", minute: "2-digit", hourCycle: "h23" };
  return new Date(moment).toLocaleTimeString("en-GB", seconds ? { ...parts, second: "2-digit" } : parts);
}

/** Replace an element's content only when what it says has changed, so that it is read out once. */
function renew(id, told, ...children) {
  const where = byId(id);
  const text = JSON.stringify(told);
  if (where.dataset.told === text) return;
  where.dataset.told = text;
  where.hidden = !children.length;
  where.replaceChildren(...children);
}

/** One element a key, kept in place as long as the key is there. */
function keep(id, name, entries, show) {
  const where = byId(id);
  const before = new Map([...where.children].map((child) => [child.dataset.key, child]));
  const now = entries.map(([key, value]) => {
    const part = before.get(key) ?? el(name, { "data-key": key });
    show(part, key, value);
    return part;
  });
  if (now.length !== where.children.length || now.some((part, at) => where.children[at] !== part)) {
    where.replaceChildren(...now);
  }
}

function showHolds(fields, weather) {
  const held = fields.filter(([, field]) => field.holds.length);
  const asked = held.filter(([, field]) => field.state === "hold asked");
  document.body.classList.toggle("on-hold", held.length > 0);
  const names = (some) => some.map(([, field]) => field.title).join(", ");
  const since = Math.min(...held.flatMap(([, field]) => field.holds.map((hold) => Date.parse(hold.asked_at))));
  const where = held.length === fields.length && held.length > 1 ? "all fields" : names(held);
  const state = asked.length
    ? `asked, not confirmed on ${names(asked)}: stop play, covers on, then confirm`
    : "confirmed: stopped, covers on. Masks stay on";
  const inside = held.reduce((sum, [, field]) => sum + field.inside, 0);
  const forWeather = held.some(([, field]) => field.holds.some((hold) => hold.cause === "weather"));
  const until = forWeather && weather?.resume_at ? `, not before ${clockTime(weather.resume_at)}` : "";
  const told = `${state}. Still inside: ${inside}`;
  renew(
    "hold",
    [where, told, until],
    ...(held.length
      ? [el("b", {}, "HOLD"), el("p", {}, el("strong", {}, `${where}, since ${clockTime(since)}${until}`), el("span", {}, told))]
      : []),
  );
}

/** A hold that is not confirmed has a place of its own already. */
function showAlerts(all) {
  const alerts = all.filter((alert) => alert.kind !== "hold_not_confirmed");
  const lines = alerts.slice(0, ALERTS_SHOWN).map((alert) => el("p", { "data-kind": alert.kind }, alert.sentence));
  const rest = alerts.length - ALERTS_SHOWN;
  renew("alerts", alerts, ...lines, ...(rest > 0 ? [el("p", {}, `and ${rest} more`)] : []));
}

function showPeople(players, plays) {
  const counts = PEOPLE.map(([key, name, one = name]) =>
    el("li", { class: players[key] ? key : "none" }, el("b", {}, String(players[key])), players[key] === 1 ? one : name),
  );
  const others = Object.entries(players.reasons).filter(([code]) => !(code in players));
  const reasons = others.sort((one, other) => other[1] - one[1]).slice(0, REASONS_SHOWN);
  const why = reasons.map(([code, count]) => el("li", {}, el("b", {}, String(count)), ` ${words(code)}`));
  const soon = plays.map((play) => el("li", {}, el("b", {}, play.group), ` ${play.title} in ${range(play.starts)}`));
  renew(
    "players",
    [players, plays],
    el("ul", { class: "counts", "aria-label": `${players.registered} registered` }, ...counts),
    ...(why.length ? [el("ul", { class: "reasons", "aria-label": "Why not cleared" }, ...why)] : []),
    ...(soon.length ? [el("ul", { class: "plays", "aria-label": "When do we play?" }, ...soon)] : []),
  );
}

function show() {
  const status = follower.status;
  zone = status.time_zone;
  const fields = Object.entries(status.fields).sort(([, one], [, other]) => one.title.localeCompare(other.title));
  byId("park").textContent = status.park;
  const day = new Date(`${status.day}T12:00:00Z`).toLocaleDateString("en-GB", DAY);
  byId("day").textContent = status.opened ? day : `${day}: not opened`;
  byId("fields").dataset.columns = COLUMNS[Math.min(fields.length, COLUMNS.length - 1)];
  byId("fields").dataset.rows = Math.ceil(fields.length / byId("fields").dataset.columns);
  keep("fields", "field-card", fields, (card, name, field) => card.show(name, field, clockTime));
  keep("stations", "station-tile", Object.entries(status.stations), (tile, name, station) => tile.show(name, station, clockTime));
  showHolds(fields, status.weather);
  showAlerts(status.alerts);
  showPeople(status.players, status.plays ?? []);
  const held = fields.some(([, field]) => field.holds.length);
  document.title = `${held ? "HOLD — " : ""}${status.park} board`;
  showLink();
}

function showLink() {
  const live = follower.live;
  document.body.classList.toggle("stale", !live);
  const heard = follower.status ? `last heard ${clockTime(follower.now(), true)}` : "nothing heard yet";
  const told = live ? "Live" : `STALE — ${heard}`;
  if (byId("link").textContent !== told) byId("link").textContent = told;
}

function tick() {
  if (!follower.status) return;
  const now = follower.now();
  const time = clockTime(now);
  if (byId("time").textContent !== time) byId("time").textContent = time;
  for (const card of byId("fields").children) card.tick(now);
}

follower.addEventListener("status", () => {
  show();
  tick();
});
follower.addEventListener("link", showLink);
setInterval(tick, 250);
follower.start();
