/** The handheld: for a referee on the field, in the sun, with gloves. STOP, first aid and undo in one touch, whatever else is open. */

import { el } from "../../board/dom.js";
import { Follower } from "../../page/follow.js";
import { AGAIN_MS, get, keepOnDevice, kept, key, now, Outbox, save } from "../../page/park.js";
import { of, problem, station } from "../../page/station.js";
import { Hands } from "./hands.js";
import { Log } from "./log.js";
import { Sheet, sheets } from "./sheets.js";
import { show, tick } from "./show.js";
import { since } from "./since.js";
import { Starting } from "./starting.js";

keepOnDevice();
const SETTLING_MS = 300;
const field = new URLSearchParams(location.search).get("field") ?? "";
const outbox = new Outbox("handheld", { counted: true, ends: [401] });
const follower = new Follower(outbox);
const log = new Log();
const view = () => since(follower.view ?? { field, title: field }, outbox.unseen);
const sheet = new Sheet(of);
const { refused, drawLink, start } = station({
  follower,
  outbox,
  shown: ["choose", "game", "stops"],
  begin,
  draw,
  leave: () => sheet.close(),
  told,
  tick: () => follower.view && tick(of, view(), now()),
  old: "the clock runs on, the rest may be old.",
  more: () => outbox.waiting.some((one) => one.command === "games/ask-hold") && "STOP IS NOT SENT: call it out, and by radio.",
});
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

function only(...ids) {
  for (const id of ["sign-in", "choose", "game", "stops"]) of(id).hidden = !ids.includes(id);
}

function told({ asked, message }) {
  if (asked) log.refused(asked.key, message);
  problem(message);
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
    refused(error);
    if (error.passing) setTimeout(begin, AGAIN_MS);
  }
}

function draw() {
  drawLink();
  of("acts").hidden = !follower.view; // what is offered follows from the park's answer
  if (!follower.view || !key()) return;
  show(of, view(), outbox, log);
  tick(of, view(), now());
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

follower.addEventListener("view", () => save(`handheld view ${field}`, follower.view));
navigator.serviceWorker?.register("worker.js").catch(() => {});

start();
