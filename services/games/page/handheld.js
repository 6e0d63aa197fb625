/** The handheld: for a referee on the field, in the sun, with gloves. STOP, first aid and undo in one touch, whatever else is open. */

import { el } from "../../board/dom.js";
import { Follower } from "../../page/follow.js";
import { AGAIN_MS, device, forget, get, keepOnDevice, kept, key, now, Outbox, Refusal, save } from "../../page/park.js";
import { signIn } from "../../page/sign-in.js";
import { Hands } from "./hands.js";
import { Log } from "./log.js";
import { Sheet, sheets } from "./sheets.js";
import { clockTime, show, tick } from "./show.js";
import { since } from "./since.js";
import { Starting } from "./starting.js";

keepOnDevice();
const of = (id) => document.getElementById(id);
const NO_KEY = "This is no key of this park. Copy it whole, the device's name, the dot and what follows, as it was shown when the device was enrolled.";
const SETTLING_MS = 300;
const field = new URLSearchParams(location.search).get("field") ?? "";
const outbox = new Outbox("handheld", { counted: true, ends: [401] });
const follower = new Follower(outbox);
const log = new Log();
const view = () => since(follower.view ?? { field, title: field }, outbox.unseen);
const sheet = new Sheet(of);
const hands = new Hands(outbox, log, view);
const starting = new Starting(outbox, sheet, view, problem);
const opens = { ...sheets(sheet, hands, view), letin: () => starting.letIn(), start: () => starting.start() };
const acts = { ...opens, confirm: () => hands.confirm(), came: () => hands.came(), brief: () => hands.brief() };
const stops = {
  field: () => hands.stop(false),
  all: () => hands.stop(true),
  aid: () => hands.aid("on_field"),
  gate: () => hands.aid("gate"),
  undo: () => hands.undo(),
};

function problem(sentence) {
  of("problem").hidden = !sentence;
  of("problem").textContent = sentence;
}

function only(...ids) {
  for (const id of ["sign-in", "choose", "game", "stops"]) of(id).hidden = !ids.includes(id);
}

function signOut(sentence = "") {
  forget();
  follower.stop();
  sheet.close();
  only("sign-in");
  of("link").textContent = "";
  of("key").value = "";
  of("key").focus();
  problem(sentence);
}

/** What goes with a key that does not open: nobody sees it once another device's key is typed here. */
function unsent() {
  const count = outbox.waiting.length;
  return count ? ` ${count} touched on ${device()} not sent: kept here until its key opens again. If it was revoked, write them down for a manager.` : "";
}

/** What the park says no to. A key that does not open ends the visit; what was touched stays on the device. */
function refused({ detail: refusal }) {
  if (refusal.asked && refusal.status !== 401) log.refused(refusal.asked.key, refusal.message);
  if (refusal.status === 401) signOut(NO_KEY + unsent());
  else if (refusal.status === 403 && !refusal.asked) signOut(refusal.message);
  else problem(refusal.message);
  draw();
}

/** Without a network the page opens on what it knew last. */
async function begin() {
  problem("");
  const last = kept(`handheld view ${field}`, null);
  if (field && last) follower.view = last;
  if (field) open();
  else await choose();
}

function open() {
  only("game", "stops");
  document.title = `${field} · Field`;
  follower.follow(`/games/handheld/${encodeURIComponent(field)}`);
  outbox.go();
  draw();
}

async function choose() {
  try {
    const { fields } = await get("/board.json");
    only("choose");
    of("fields").replaceChildren(...Object.entries(fields).map(([name, { title }]) => el("li", {}, el("a", { href: `?field=${encodeURIComponent(name)}` }, title))));
    if (Object.keys(fields).length === 0) problem("The park has no field yet. A manager configures one first.");
  } catch (error) {
    if (!(error instanceof Refusal)) throw error;
    refused({ detail: error });
    if (error.passing) setTimeout(begin, AGAIN_MS);
  }
}

function draw() {
  of("acts").hidden = !follower.view; // what is offered follows from the park's answer
  if (!follower.view || !key()) return;
  show(of, view(), outbox, log);
  tick(of, view(), now());
  drawLink();
}

function drawLink() {
  const unsent = outbox.waiting.length;
  document.body.classList.toggle("stale", !follower.live);
  document.body.classList.toggle("unsent", unsent > 0);
  const stop = outbox.waiting.some((one) => one.command === "games/ask-hold") ? " STOP IS NOT SENT: call it out, and by radio." : "";
  const waits = unsent === 0 ? "" : ` ${unsent} not sent yet: kept, and sent in order.`;
  const room = outbox.unkept ? " This device has no room for it: leave the page open." : "";
  const zone = follower.view?.time_zone;
  of("link").textContent = (follower.live ? "● live" : `✖ NOT CONNECTED since ${clockTime(follower.since, zone)}: the clock runs on, the rest may be old.`) + waits + room + stop;
}

/** A touch has been taken: another on the same spot a moment later was meant for what was there before. STOP is never held up by this. */
function settle() {
  document.body.classList.add("settling");
  setTimeout(() => document.body.classList.remove("settling"), SETTLING_MS);
}

function act(name) {
  problem("");
  acts[name]();
  settle();
  draw();
}

function stop(name) {
  problem("");
  stops[name]();
  draw();
}

for (const button of document.querySelectorAll("[data-act]")) button.addEventListener("click", () => act(button.dataset.act));
for (const button of document.querySelectorAll("[data-stop]")) button.addEventListener("click", () => stop(button.dataset.stop));
of("sheet-body").addEventListener("click", (event) => {
  if (event.target.closest("button:not([role=radio])")) settle();
});
for (const button of document.querySelectorAll("[data-key]")) button.prepend(el("kbd", { "aria-hidden": "true" }, button.dataset.key));

document.addEventListener("keydown", (event) => {
  if (of("game").hidden || event.ctrlKey || event.metaKey || event.altKey || event.repeat) return;
  if (event.key === "Escape") sheet.close();
  else if (!event.target.closest("input")) {
    if (sheet.open && sheet.key(event.key)) event.preventDefault();
    else if (/^[a-z]$/i.test(event.key)) touch(event.key.toUpperCase());
  }
});

/** The button that a letter stands for, if it is offered. Beneath an open sheet only STOP, first aid and undo are. */
function touch(letter) {
  const button = document.querySelector(`[data-key="${letter}"]`);
  if (!button || button.hidden || button.disabled) return;
  if (button.dataset.stop || (!sheet.open && !document.body.classList.contains("settling"))) button.click();
}

signIn(of("sign-in"), begin, problem);
of("forget").addEventListener("click", () => signOut());
follower.addEventListener("view", () => {
  save(`handheld view ${field}`, follower.view);
  draw();
});
follower.addEventListener("link", draw);
follower.addEventListener("refused", refused);
outbox.addEventListener("moved", draw);
outbox.addEventListener("refused", refused);
outbox.addEventListener("cut", () => follower.lost());
outbox.addEventListener("answered", () => follower.found());
setInterval(() => follower.view && key() && tick(of, view(), now()), 250);
navigator.serviceWorker?.register("worker.js").catch(() => {});

if (key()) begin();
else signOut();
