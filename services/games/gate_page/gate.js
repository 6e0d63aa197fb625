/** A field's gate: scan or type, and the answer is CLEARED or NOT CLEARED. It goes on without the network for as long as the rules allow, and says so. */

import { el } from "../../board/dom.js";
import { Follower } from "../../page/follow.js";
import { AGAIN_MS, get, keepOnDevice, kept as keptHere, key, mustBe, now, Outbox, Refusal, save, uuid7 } from "../../page/park.js";
import { Scanner } from "../../page/scan.js";
import { of, problem, station } from "../../page/station.js";
import { ageOf, asked, closed, kept, tooOld } from "./answer.js";
import { Keeping } from "./keeping.js";
import { Letting } from "./letting.js";
import { show, showLink } from "./show.js";

keepOnDevice();
const SHOWN_MS = 30_000;
const SETTLING_MS = 600;
const field = new URLSearchParams(location.search).get("field") ?? "";
const outbox = new Outbox("gate", { counted: true, ends: [401] });
const follower = new Follower(outbox);
const letting = new Letting(outbox, field);
const keeping = new Keeping(field);
const { refused, clock, start } = station({ follower, outbox, shown: ["choose", "gate"], begin, draw, leave, told, tick });
let keys = [];
let shown = null;
let until = 0;
let turn = 0;

function only(id) {
  for (const one of ["sign-in", "choose", "gate"]) of(one).hidden = one !== id;
}

function leave() {
  keeping.drop();
  put(null);
}

function told(refusal) {
  letting.refused(refusal);
  if (!refusal.asked) problem(refusal.message);
  draw();
}

async function begin() {
  problem("");
  if (!field) return choose();
  only("gate");
  document.title = `${field} · Gate`;
  keys = keptHere("gate keys", []);
  follower.view = await keeping.last();
  follower.follow("/games/gate", { field });
  outbox.go();
  draw();
  of("said").focus();
}

async function choose() {
  try {
    const { fields } = await get("/board.json");
    only("choose");
    of("fields").replaceChildren(...Object.entries(fields).map(([name, { title }]) => el("li", {}, el("a", { href: `?field=${encodeURIComponent(name)}` }, title))));
    if (Object.keys(fields).length === 0) problem("The park has no field yet. A manager configures one first.");
  } catch (error) {
    refused(error);
    if (error.passing) setTimeout(begin, AGAIN_MS);
  }
}

/** One code: asked of the log, or of the last list where the park does not answer. An answer that comes when another was asked for since is of nobody here. */
async function take(code) {
  const mine = ++turn;
  put(null);
  problem("");
  const told = await answer(code);
  if (told && mine === turn) put(told, code);
  of("said").focus();
}

async function answer(code) {
  let found;
  try {
    if (follower.live) found = { ...closed(await asked(code, field), follower.view), offline: false };
  } catch (error) {
    if (!(error instanceof Refusal)) throw error;
    if (error.status === 401 || error.status === 403) return refused(error);
    if (error.status === 0) follower.lost();
  }
  found ??= { ...closed(await kept(code, follower.view, keys), follower.view), offline: true };
  const before = letting.since(found.player); // what is not sent yet the park does not know
  if (!before || found.reasons.some(({ code: why }) => why === "already_on_field")) return found;
  return { ...found, cleared: false, inside: true, reasons: [{ code: "already_on_field", sentence: `This gate let him in at ${clock(before)} already.`, where: "staging" }, ...found.reasons] };
}

function put(told, code = "") {
  shown = told && { ...told, code, asked: uuid7() };
  until = performance.now() + SHOWN_MS;
  settle();
  draw();
}

/** A second Enter of a scanner, or a touch meant for what was there before, lets nobody in. */
function settle() {
  document.body.classList.add("settling");
  setTimeout(() => document.body.classList.remove("settling"), SETTLING_MS);
}

/** What the button does now, with its words; and a hint where there is none. */
function offer() {
  const list = follower.view;
  if (!shown?.player || shown.done) return {};
  if (shown.offline) return shown.cleared ? { letIn: "Looked: let him in" } : { wentIn: !shown.inside };
  if (!shown.cleared) return shown.reasons.every(({ code }) => code === "game_closed") ? { hint: "Nothing else stands against him." } : {};
  if (shown.part === "player" && !list?.game) return { hint: "No game is played here now: he goes in with the start." };
  return { letIn: "Looked: let him in" };
}

async function letIn() {
  if (document.body.classList.contains("settling") || !shown?.player || shown.done) return;
  const one = shown;
  one.done = true;
  draw();
  try {
    if (one.offline) letting.record(one, follower.view);
    else one.reasons = await letting.ask(one, follower.view?.game);
    one.cleared &&= one.reasons.length === 0;
    one.said = one.offline ? "Recorded here: he is in. It is sent when the network is back." : one.cleared ? "He is in." : "";
  } catch (error) {
    if (!(error instanceof Refusal)) throw error;
    if (error.status === 401) return refused(error);
    one.done = false;
    one.said = "The park did not answer: it is not known whether he is let in. Let him wait, or scan again.";
    follower.lost();
  }
  if (shown !== one && !one.cleared) problem(`${called(one.player)} is not let in. ${one.reasons.map(({ sentence, where }) => `${sentence} → ${where}`).join(" ")}`);
  else if (shown !== one && !one.done) problem(`${called(one.player)}: ${one.said}`);
  draw();
  of("said").focus();
}

function draw() {
  if (!key() || of("gate").hidden) return;
  const list = follower.view;
  show(of, shown, { offline: shown?.offline, age: shown?.knew ? ageOf(shown.knew) : Infinity });
  const now_ = offer();
  of("let-in").hidden = !now_.letIn;
  of("let-in").textContent = now_.letIn ?? "";
  of("went-in").hidden = !now_.wentIn;
  of("hint").textContent = shown?.said ?? now_.hint ?? "";
  of("title").textContent = `Gate · ${list?.title ?? field}`;
  letting.show(of("late"), called);
  drawLink();
}

const called = (player) => {
  const who = follower.view?.players?.find((one) => one.player === player);
  return who ? `Armband ${who.armband}` : player;
};

function drawLink() {
  const list = follower.view;
  showLink(of, { live: follower.live, list, age: list ? ageOf(list) : Infinity, old: !list || tooOld(list), at: list && clock(list.as_of), outbox });
}

/** What stands against whoever stands here may have come with the newer list. */
function view() {
  const list = follower.view;
  keeping.keep(list).catch(() => {}); // without room it answers as long as the page is open
  const mine = shown?.player && list.players?.find((one) => one.player === shown.player);
  if (shown?.cleared && !shown.done && mine) {
    const against = mine.cleared ? [] : [...(mine.reasons ?? []), ...(list.reasons ?? [])];
    Object.assign(shown, closed({ ...shown, cleared: mine.cleared === true, reasons: against }, list));
  }
  draw();
}

async function fetchKeys() {
  try {
    const told = await get("/passes/keys");
    mustBe(Array.isArray(told?.keys));
    keys = told.keys;
    save("gate keys", keys);
  } catch (error) {
    if (!(error instanceof Refusal)) throw error;
  }
}

new Scanner({ input: of("said"), shown: of("read"), take });
of("let-in").addEventListener("click", letIn);
of("went-in").addEventListener("click", letIn);
of("gate").addEventListener("click", (event) => event.target.closest("a, button, input") || of("said").focus());
follower.addEventListener("view", view);
follower.addEventListener("link", () => {
  if (!follower.live) return;
  fetchKeys().then(draw);
  if (shown?.code && shown.offline && !shown.done) take(shown.code); // what was said without the park is asked of it
});
outbox.addEventListener("answered", ({ detail }) => {
  letting.answered(detail);
  if (shown?.done) put(null);
  draw();
});

function tick() {
  if (of("gate").hidden) return;
  of("clock").textContent = clock(now());
  if (shown && performance.now() > until) put(null);
  if (shown?.cleared && shown.offline && follower.view && tooOld(follower.view)) put(null);
  drawLink();
}

navigator.serviceWorker?.register("worker.js").catch(() => {});

start();
