/** Finding a player: by the pass that he shows, the number on his armband, or who was on a field at a time. */

import { el } from "../board/dom.js";
import { get, Refusal } from "./ask.js";

const of = (id) => document.getElementById(id);

const WAYS = [["pass"], ["number"], ["from", "to", "where"]];

/** Whoever begins to ask another way has done with the one before: no forgotten pass decides who is found. */
export function listen() {
  for (const way of WAYS) {
    const others = WAYS.filter((other) => other !== way).flat();
    for (const id of way) {
      of(id).addEventListener("input", () => {
        if (of(id).value) for (const other of others) of(other).value = "";
      });
    }
  }
}

/** The instant of a wall-clock time on a day in the park's zone, as RFC 3339; the offset is looked up, not assumed. */
export function instant(day, time, zone) {
  const asIfUtc = Date.parse(`${day}T${time}:00Z`);
  const nearly = asIfUtc - offset(asIfUtc, zone);
  return new Date(asIfUtc - offset(nearly, zone)).toISOString();
}

/** By the park's own clock an operating day begins then: a night belongs to the day before. */
const NIGHT = "04:00";

/** Two wall-clock times of an operating day as instants. From before its beginning until after it is all of it. */
export function span(day, from, to, zone) {
  const next = new Date(Date.parse(`${day}T00:00:00Z`) + 86_400_000).toISOString().slice(0, 10);
  if (from < NIGHT && NIGHT <= to) return { from: instant(day, NIGHT, zone), to: instant(next, NIGHT, zone) };
  const at = (time) => instant(time < NIGHT ? next : day, time, zone);
  return { from: at(from), to: at(to) };
}

/** How far a zone's clock is ahead of UTC at an instant, in milliseconds. */
function offset(instant, zone) {
  const parts = new Intl.DateTimeFormat("en-GB", { timeZone: zone, timeZoneName: "longOffset" }).formatToParts(instant);
  const [, sign, hours, minutes] = /GMT(?:([+-])(\d\d):(\d\d))?/.exec(parts.find(({ type }) => type === "timeZoneName").value);
  return sign ? (sign === "-" ? -1 : 1) * (Number(hours) * 60 + Number(minutes)) * 60_000 : 0;
}

/** What the form asks, as the query of a search; a Refusal names what is missing. */
function asked(zone) {
  const [day, pass, number, from, to, field] = ["day", "pass", "number", "from", "to", "where"].map((id) => of(id).value.trim());
  if (pass) return { day, day_pass: pass };
  if (number) return { day, armband: number };
  if (from && to && field) return { ...span(day, from, to, zone), field };
  throw new Refusal(0, "Give a day pass, or an armband number, or a field with two times between which he was on it.");
}

/** Search, and offer each player found; `open(player)` is called with the one chosen, at once where there is only one. */
export async function find(zone, open) {
  const { players } = await get("/audit/players", asked(zone)).catch((error) => {
    if (error.status !== 400 || !of("pass").value) throw error;
    throw new Refusal(404, `${of("pass").value} is no code of a pass: copy it as it is printed beneath the square, such as 3F7K-9Q2M, or ask by the armband.`);
  });
  of("found").replaceChildren(
    ...players.map((player) => {
      const button = el(
        "button",
        { type: "button", "data-player": player.player },
        el("b", {}, String(player.armband)),
        el("span", {}, [player.player, `pass ${player.day_pass}`, player.group && `group ${player.group}`].filter(Boolean).join(" · ")),
        player.because.length > 0 && el("small", {}, player.because.join(" ")),
      );
      button.addEventListener("click", () => open(player));
      return el("li", {}, button);
    }),
  );
  if (players.length === 0) throw new Refusal(404, "Nobody on record fits. Check the day first, then the number or the times.");
  if (players.length === 1) await open(players[0]);
}
