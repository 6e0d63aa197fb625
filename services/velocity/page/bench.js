/** The bench page: for the person at the chronograph, in the sun, with gloves, before a queue. */

import { el, unfocused } from "../../board/dom.js";
import { Follower } from "../../page/follow.js";
import { AGAIN_MS, get, key, Outbox, park } from "../../page/park.js";
import { of, problem, station } from "../../page/station.js";
import { Hands } from "./hands.js";
import { show as showInstrument } from "./instrument.js";
import { shown, typed } from "./speeds.js";
import { show as showString, WORDS } from "./verdict.js";

const FIELD = "fieldledger bench field";
const chrono = new URLSearchParams(location.search).get("chrono") ?? "";
const outbox = new Outbox("bench");
const follower = new Follower(outbox);
const hands = new Hands(of, outbox, follower, chrono, problem);
const { refused, clock, drawLink, start } = station({
  follower,
  outbox,
  shown: ["bench", "band", "for", "choose", "forget"],
  begin,
  draw,
  told: (refusal) => problem(`${mistaken(refusal.asked)}${refusal.message}`),
});

/** A number that was typed while no string was open was perhaps meant as a reading. */
function mistaken(asked) {
  const marker = asked?.command === "velocity/open-string" ? asked.body.marker : "";
  return typed(marker, "fps") === null ? "" : `No string is open, so ${marker} was taken for a marker. `;
}

async function begin() {
  try {
    const [{ chronos }, { fields }] = await Promise.all([get("/velocity/chronos"), get("/board.json")]);
    of("sign-in").hidden = true;
    of("forget").hidden = false;
    problem("");
    if (chronos.some((one) => one.chrono === chrono)) open(fields);
    else choose(chronos);
  } catch (error) {
    refused(error);
    if (error.passing) setTimeout(begin, AGAIN_MS);
  }
}

function open(fields) {
  const options = Object.entries(fields).map(([field, { title }]) => el("option", { value: field }, title));
  of("field").replaceChildren(el("option", { value: "" }, "every field"), ...options);
  of("field").value = sessionStorage.getItem(FIELD) in fields ? sessionStorage.getItem(FIELD) : "";
  of("title").textContent = `${chrono} · ${park}`;
  document.title = `${chrono} · Bench`;
  follow();
  outbox.go();
}

function follow() {
  follower.follow(`/velocity/bench/${encodeURIComponent(chrono)}`, { field: of("field").value });
}

function choose(chronos) {
  of("choose").hidden = false;
  const links = chronos.map((one) => el("li", {}, el("a", { href: `?chrono=${encodeURIComponent(one.chrono)}` }, one.chrono), ` ${one.trusted ? "can be trusted" : "do not trust"}`));
  of("chronos").replaceChildren(...links);
  if (chronos.length === 0) problem("The park has no chronograph yet. Register one first, then open this page again.");
  else if (chrono) problem(`The park has no chronograph ${chrono}. Choose one of these.`);
  of("chronos").querySelector("a")?.focus();
}

function draw() {
  drawLink();
  if (!follower.view || !key()) return;
  const { view } = hands;
  of("bench").hidden = of("band").hidden = of("for").hidden = false;
  showString(of, view, hands.check);
  showInstrument(of, view, clock);
  showBeside(view);
  hands.draw();
  if (unfocused()) of("said").focus();
}

/** What came before the open string, and what was read for no marker. */
function showBeside(view) {
  const before = view.string && view.last;
  of("before").hidden = !before;
  of("before").querySelector("p").textContent = before ? `${view.last.marker}: ${WORDS[view.last.verdict]}. ${view.last.sentence}` : "";
  const strays = view.strays ?? [];
  const ballG = (view.string ?? view.last)?.ball_g ?? 0;
  of("strays").hidden = strays.length === 0;
  const told = strays.map((one) => one.misread?.replaceAll("_", " ") ?? shown(one.speed_fps, view.unit, ballG)).join(", ");
  of("strays").querySelector("p").textContent = `${told}: on the record, and counted for no marker.`;
}

of("field").addEventListener("change", () => {
  sessionStorage.setItem(FIELD, of("field").value);
  follow();
  of("said").focus();
});
of("say").addEventListener("submit", (event) => {
  event.preventDefault();
  const entry = of("said").value;
  of("said").value = "";
  hands.enter(entry);
});
document.addEventListener("keydown", (event) => {
  if (of("bench").hidden) return;
  const plain = event.key.length === 1 && !event.ctrlKey && !event.metaKey && !event.altKey;
  if (plain && !event.target.closest("input, select, button, a")) of("said").focus();
  if (event.key !== "Escape") return;
  of("said").value = "";
  of("said").focus();
  hands.leave();
});
hands.addEventListener("check", draw);

of("title").textContent = `Bench · ${park}`;
start();
