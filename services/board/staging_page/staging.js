/** The staging screen: for the person who calls the next game of each field, in the sun, with gloves. */

import { el, shape, unfocused, words } from "../../board/dom.js";
import { Follower } from "../../board/follow.js";
import { AGAIN_MS, base, get, key, Outbox, park, Refusal } from "../../page/park.js";
import { of, problem, timeOfDay, visit } from "../../page/station.js";
import { groupButtons, groups, notReady, notReadyItem, party, planned } from "./people.js";
import { balance, sides, Teams, why } from "./teams.js";

const FIELD = "fieldledger staging field";
const COLOURS = ["red", "blue", "yellow", "green", "orange", "white"];
const FORMATS = ["elimination", "respawn", "scenario", "continuous"];
const REFRESH_MS = 10_000;
const outbox = new Outbox("staging");
const follower = new Follower(`${base}/board/stream`);
const { refused, start } = visit({
  shown: ["staging", "forget"],
  begin,
  leave: () => (people = teams = null),
  told: (refusal) => problem(`${refusal.passing ? "Not done, or not known to be. " : "Refused. "}${refusal.message}`),
});

let people = null;
let plan = null;
let field = sessionStorage.getItem(FIELD) ?? "";
let taken = new Set();
let known = new Set();
let teams = null;
let told = "";
let busy = false;
let asked = -Infinity;
let since = null;
const choice = { one: "red", other: "blue", format: "elimination", minutes: "15" };

async function begin() {
  try {
    await refresh();
    of("sign-in").hidden = true;
    of("forget").hidden = of("staging").hidden = false;
    problem("");
    draw();
    if (unfocused()) of("fields").querySelector("[aria-pressed=true]")?.focus();
  } catch (error) {
    refused(error);
    if (error.passing) setTimeout(begin, AGAIN_MS);
  }
}

/** Who is there now. A group that has become ready is taken, until somebody leaves it out. */
async function refresh() {
  asked = performance.now();
  people = await get("/games/at-staging");
  const parties = new Set(ready().map(party));
  for (const one of parties) if (!known.has(one)) taken.add(one);
  known = parties;
  plan = await get("/games/rotation").catch((error) => {
    if (error instanceof Refusal) return null; // a referee's key asks for no plan
    throw error;
  });
}

const ready = () => groups(people.players, field).flatMap(([, some]) => some);
const chosen = () => ready().filter((one) => taken.has(party(one)));
/** The game that is called for the field and has not started: to call again is to give it another list. */
const waiting = () => follower.status.fields[field]?.next?.game;
/** The field's next game by the plan. */
const nextByPlan = (name) => plan?.games.find((game) => game.field === name);

async function follow() {
  if (!key() || !people) return;
  try {
    await refresh();
    draw();
  } catch (error) {
    if (!error.passing) refused(error);
  }
}

/** Do something that only counts if it is answered now; meanwhile nothing else can be touched. */
async function act(command, body, then, shaped = undefined) {
  if (busy) return;
  busy = true;
  problem("");
  draw();
  try {
    const answer = await outbox.ask(command, body, undefined, shaped);
    busy = false;
    then(answer);
  } catch (error) {
    busy = false;
    refused(error);
  }
  await follow();
  draw();
}

function propose() {
  const players = chosen().map((one) => one.player);
  if (choice.one === choice.other) problem("Both teams would wear the same colour. Choose two.");
  else if (players.length === 0) problem("Nobody is taken. Touch a group that is ready.");
  else act("games/propose-teams", { field, players, colours: [choice.one, choice.other] }, (proposal) => {
    told = "";
    teams = new Teams(proposal, new Map(people.players.map((one) => [one.player, one.armband])));
  }, ({ teams: some }) => Array.isArray(some));
}

/** Whom the plan has in the field's next game, in one touch; who of them is not ready is named beside the teams. */
function proposePlanned() {
  taken = new Set(nextByPlan(field).parties.map((one) => one.party));
  propose();
}

/** One touch. The list is the referee's as it stands here; what was changed in the proposal goes with it. */
function call() {
  if (!teams?.whole || !follower.live) return;
  const stamp = new Date(follower.now()).toISOString().slice(11, 19).replaceAll(":", "");
  const { entrants } = teams;
  const body = { game: waiting() ?? `${field}-${stamp}`, field, rotation: rotation(entrants), format: choice.format, minutes: Number(choice.minutes), entrants, proposal: teams.proposal.proposed };
  const counts = teams.colours.map((colour) => `${teams.side(colour).length} ${colour}`).join(", ");
  act("games/call-game", body, ({ events }) => {
    const weighed = events.find(({ type }) => type === "games.teams_called")?.data;
    const points = weighed?.called.reduce((sum, one) => sum + one.points, 0);
    told = `Called: ${body.game}, ${counts}. As called the teams lie ${points} points apart${weighed?.overruled.length ? `; ${weighed.overruled.length} stand elsewhere than was proposed, and that is on the record` : ""}.`;
    teams = null;
  });
}

/** The one that most of them play in. */
function rotation(entrants) {
  const listed = new Set(entrants.map((one) => one.player));
  const counts = new Map();
  for (const { player, rotation: name } of people.players) if (name && listed.has(player)) counts.set(name, (counts.get(name) ?? 0) + 1);
  return [...counts].sort(([, one], [, other]) => other - one)[0]?.[0] ?? null;
}

function button(name, letter, text, touch, { disabled, loud } = {}) {
  const made = el("button", { type: "button", "data-act": name, class: loud ? "loud" : undefined, disabled }, letter && el("kbd", {}, letter), letter ? ` ${text}` : text);
  made.addEventListener("click", touch);
  return made;
}

function select(name, values, label) {
  const made = el("select", { "data-choice": name, "aria-label": label }, ...values.map((value) => el("option", { value, selected: choice[name] === value }, value)));
  made.addEventListener("change", () => (choice[name] = made.value));
  return made;
}

function choose(name) {
  field = name;
  sessionStorage.setItem(FIELD, name);
  teams = null;
  told = "";
  problem("");
  draw();
}

/** What stands for each field: its state, and what its next game waits for. */
function nextOf(one) {
  if (!one.next) return "no next game is called";
  const { ready, teams: sizes, waits_for: waits } = one.next;
  const size = Object.values(sizes).reduce((sum, count) => sum + count, 0);
  const reasons = Object.keys(waits).map(words).join(", ");
  return `called: ${ready} of ${size} ready${reasons ? `; waits for ${reasons}` : ""}`;
}

function drawFields(fields) {
  if (!(field in fields)) field = Object.keys(fields).sort()[0] ?? "";
  const buttons = Object.entries(fields)
    .sort(([, one], [, other]) => one.title.localeCompare(other.title))
    .map(([name, one], at) => {
      const made = el("button", { type: "button", "data-field": name, "aria-pressed": String(name === field), class: one.holds.length ? "held" : undefined }, el("b", {}, at < 9 && el("kbd", {}, String(at + 1)), ` ${one.title}`), el("span", {}, shape(one.state), one.state), el("small", {}, nextOf(one)), nextByPlan(name) && el("small", { class: "plan" }, `next ${planned(nextByPlan(name), clock)}`));
      made.addEventListener("click", () => choose(name));
      return made;
    });
  renew("fields", buttons);
  const held = Object.values(fields).filter((one) => one.holds.length);
  const letIn = follower.status.alerts.filter((one) => one.kind === "let_in_offline");
  of("let-in").hidden = letIn.length === 0;
  of("let-in").textContent = letIn.map((one) => `⚠ ${one.sentence}`).join(" ");
  of("hold").hidden = held.length === 0;
  of("hold").textContent = `HOLD: ${held.map((one) => one.title).join(", ")}. Nobody starts there; masks stay on.`;
}

/** Put what is new in its place, and the focus where it was. */
function renew(id, children) {
  const where = of(id).matches("nav, .row, ol, ul, #sides") ? of(id) : of(id).querySelector("ol, ul, div");
  const focused = where.contains(document.activeElement) ? JSON.stringify({ ...document.activeElement.dataset }) : "";
  where.replaceChildren(...children);
  if (focused) [...where.querySelectorAll("button, select, input")].find((one) => JSON.stringify({ ...one.dataset }) === focused)?.focus();
}

function drawReady(status) {
  const count = chosen().length;
  const all = ready().length;
  of("ready").querySelector("h2 span").textContent = `${all} ready, ${count} taken for ${status.fields[field]?.title ?? field}`;
  const closed = status.fields[field]?.why ?? [];
  of("field-why").textContent = closed.join(" ");
  of("field-why").hidden = closed.length === 0;
  of("groups").hidden = Boolean(teams);
  renew("groups", groupButtons(groups(people.players, field), taken, (players) => take(players.map(party))));
  renew("asking", [
    nextByPlan(field) && button("plan", "N", "Next by the plan: propose", proposePlanned, { disabled: busy, loud: !teams }),
    button("all", "A", count === all ? "Take nobody" : "Take everybody", () => take(ready().map(party)), { disabled: all === 0 }),
    select("one", COLOURS, "Colour of one team"),
    select("other", COLOURS, "Colour of the other team"),
    button("propose", "P", busy ? "Asking …" : "Propose teams", propose, { disabled: busy || count === 0, loud: !teams && !nextByPlan(field) }),
  ].filter(Boolean));
}

/** All of these, or where all are taken none. */
function take(parties) {
  const whole = parties.every((one) => taken.has(one));
  for (const one of parties) whole ? taken.delete(one) : taken.add(one);
  draw();
}

function drawTeams() {
  of("teams").hidden = !teams && !told;
  for (const id of ["sides", "balance", "why", "calling"]) of(id).hidden = !teams;
  of("teams").querySelector("h2").textContent = teams ? "Proposed teams: touch a player to put him on the other side" : "The game is called";
  of("verdict").textContent = teams ? (teams.colours.length ? teams.verdict : "No teams can be made now.") : told;
  if (!teams) return;
  const { proposal } = teams;
  renew("sides", sides(teams, (way, player) => {
    teams[way](player);
    draw();
  }));
  for (const one of unready(teams)) of("sides").querySelector(`[data-over="${CSS.escape(one.player)}"]`)?.classList.add("unready");
  of("balance").replaceChildren(...(proposal.balance.length ? [balance(proposal)] : []));
  const late = unready(teams).map((one) => el("li", { class: "unready" }, `${one.armband} is not ready any more: ${one.reasons.map((reason) => reason.sentence).join(" ")}`));
  of("why").replaceChildren(...late, ...why(proposal), ...proposal.not_ready.map((one) => el("li", {}, `Not ready for this field: ${teams.armbands.get(one.player) ?? one.player}. ${one.reasons.map((reason) => `${reason.sentence} (${reason.where})`).join(" ")}`)));
  const minutes = el("input", { type: "number", min: 1, max: 720, value: choice.minutes, "data-choice": "minutes", "aria-label": "Minutes" });
  minutes.addEventListener("change", () => (choice.minutes = minutes.value));
  renew("calling", [
    select("format", FORMATS, "Format"),
    el("label", {}, minutes, " minutes"),
    button("call", "C", `${waiting() ? "Replace the list that waits" : "Call this game"}${teams.changed ? `, ${teams.changed} changed` : ""}`, call, { disabled: busy || !follower.live || !teams.whole, loud: true }),
    button("drop", "Esc", "Leave it", drop),
  ]);
}

const unready = ({ entrants }) => {
  const listed = new Set(entrants.map((one) => one.player));
  return people.players.filter((one) => listed.has(one.player) && !one.cleared);
};

function drop() {
  teams = null;
  told = "";
  draw();
}

function draw() {
  const { status } = follower;
  drawLink();
  if (!status || !people || !key()) return;
  drawFields(status.fields);
  drawReady(status);
  drawTeams();
  const some = notReady(people.players);
  of("not-ready").querySelector("h2").textContent = some.length ? `${some.length} not ready` : "Everybody here is ready";
  renew("not-ready", some.map((one) => notReadyItem(one)));
}

const clock = (moment) => timeOfDay(moment, follower.status?.time_zone);

function drawLink() {
  const { live, status } = follower;
  document.body.classList.toggle("stale", !live);
  since = live ? null : (since ?? follower.now());
  of("link").textContent = live ? "● live" : status ? `✖ NOT CONNECTED since ${clock(since)}: what you see may be old, and nothing can be called` : "✖ nothing heard yet";
}

document.addEventListener("keydown", (event) => {
  if (of("staging").hidden || event.ctrlKey || event.metaKey || event.altKey || event.target.closest("input, select")) return;
  const letter = event.key.toUpperCase();
  const by = /^[1-9]$/.test(letter) ? of("fields").children[Number(letter) - 1] : { P: document.querySelector("[data-act=propose]"), C: document.querySelector("[data-act=call]"), A: document.querySelector("[data-act=all]"), N: document.querySelector("[data-act=plan]"), ESCAPE: document.querySelector("[data-act=drop]") }[letter];
  if (by && !by.disabled) by.click();
});
follower.addEventListener("status", () => {
  if (people && follower.status.position > people.position && performance.now() - asked > 1000) follow();
  else draw();
});
follower.addEventListener("link", draw);
setInterval(() => {
  if (follower.status) of("clock").textContent = clock(follower.now());
  if (people && (performance.now() - asked > REFRESH_MS || (performance.now() - asked > 1000 && follower.status?.position > people.position))) follow();
}, 1000);

of("title").textContent = `Staging · ${park}`;
document.title = `Staging · ${park}`;
follower.start();
start();
