/** The gear counter's page: for whoever hands gear out and takes it back, with gloves on, before a queue. */

import { el, unfocused } from "../../board/dom.js";
import { Follower } from "../../page/follow.js";
import { AGAIN_MS, get, key, Outbox, park, Refusal } from "../../page/park.js";
import { brief, Scanner } from "../../page/scan.js";
import { of, problem, station } from "../../page/station.js";
import { Acts, said } from "./act.js";
import { named } from "./code.js";
import { FAULTS, issues, offers } from "./offers.js";
import * as show from "./show.js";

const NEXT_MS = 120_000;
const LATE_MS = 10_000;
const STOCK_MS = 15_000;
const SHAPES = { done: "✔", no: "✖", waits: "…", unsure: "?" };
const outbox = new Outbox("counter");
const follower = new Follower(outbox);
const acts = new Acts(outbox, tell);
const { refused, clock, drawLink, start } = station({
  follower,
  outbox,
  shown: ["counter", "forget", "told"],
  begin,
  draw,
  told: (refusal) => refusal.asked || tell("no", "The park says no", said(refusal)), // of what was recorded here its own words tell
  old: "what you see may be old. Nothing can be issued.",
});
const measures = new Map();
let player = null;
let code = null;
let picked = null;
let choosing = "";
let stock = null;
let leaving = 0;

function tell(kind, title, sentences = []) {
  const told = of("told");
  told.hidden = false;
  told.className = kind;
  told.querySelector(".shape").textContent = SHAPES[kind];
  told.querySelector("strong").textContent = title;
  told.querySelector("ul").replaceChildren(...sentences.map((one) => el("li", {}, one)));
}

function begin() {
  of("sign-in").hidden = true;
  of("forget").hidden = of("counter").hidden = false;
  problem("");
  follow();
  outbox.go();
  restock();
}

function follow() {
  follower.follow("/equipment/counter.json", { player, gear: code });
}

/** Another person, another piece, or nobody and nothing. */
function stand(who, what = null) {
  player = who;
  turnTo(what);
  clearTimeout(leaving);
  if (who) leaving = setTimeout(() => leave("Nobody has been served here for two minutes, so the counter is cleared."), NEXT_MS);
}

function turnTo(what) {
  code = what;
  picked = null;
  choosing = "";
  follow();
  draw();
}

function leave(sentence = "") {
  stand(null);
  of("told").hidden = true;
  if (sentence) tell("waits", "Next, please", [sentence]);
  of("said").focus();
}

const mode = () => document.querySelector("[name=mode]:checked").value;
/** Somebody by the number on his armband, where that is known here. */
const whoIs = (name) => {
  const armband = name === player ? standing()?.armband : stock?.out.find((one) => one.player === name)?.armband;
  return armband ? `armband ${armband}` : name;
};
const standing = () => (follower.view?.customer?.player === player ? follower.view.customer : null);

/** What bears the code that was read, or was touched in the list of who stands here. */
function inHand() {
  if (picked) return [(standing()?.gear ?? []).find((one) => one.name === picked.name && one.kind === picked.kind) ?? (follower.view?.code === code ? (follower.view.in_hand ?? []).find((one) => one.kind === picked.kind) : null) ?? picked];
  return follower.view && follower.view.code === code ? follower.view.in_hand ?? [] : [];
}

/** A code was read: a letter does what its button does, anything else is looked up, however long the network is away. */
async function take(entry, how) {
  const letter = how === "typed" && /^[a-z]$/i.test(entry) ? entry.toUpperCase() : "";
  if (letter) return byLetter(letter);
  const readAt = performance.now();
  for (;;) {
    try {
      return await use(entry, await named(entry, player), performance.now() - readAt > LATE_MS);
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      if (!error.passing) return refused(error);
      follower.lost();
      tell("unsure", `${brief(entry)} waits to be looked up`, ["The network is away. Nothing is issued without it; what came back and what is out of use may be recorded from the list of who stands here."]);
      await new Promise((resolve) => setTimeout(resolve, AGAIN_MS));
    }
  }
}

async function use(entry, found, late) {
  if (found.somebody) {
    const { somebody } = found;
    stand(somebody.player);
    if (somebody.replaced) tell("no", `This pass of armband ${somebody.armband} was replaced`, ["Take it away and ask for the newer one; whoever has none goes to the desk."]);
    else of("told").hidden = true;
    return;
  }
  const pieces = found.pieces ?? [];
  if (pieces.length === 0) {
    tell("no", `Nothing bears ${brief(entry)}`, ["No piece of gear, no armband and no pass of today. Read it again, or type it."]);
    return;
  }
  stand(player, entry);
  if (pieces.length > 1) return;
  const [piece] = pieces;
  const who = player ? standing() ?? (await get("/equipment/counter.json", { player })).customer : null;
  const meant = mode();
  if (late) tell("waits", `${entry} was read while the network was away`, ["Nothing was done with it. Do now what is meant, with a button, or scan it again."]);
  else if (meant === "return" && piece.holder) perform("return", piece, who);
  else if (meant === "return") tell("no", `${entry} is at the counter already`, ["Nobody has it, as the record stands."]);
  else if (meant === "issue" && issues(piece, who)) await perform("issue", piece, who);
  else of("told").hidden = true;
}

async function perform(act, piece, who = standing(), offer = {}) {
  try {
    if (act === "issue") await acts.issue(piece, who);
    else if (act === "swap") await acts.swap(piece, who, offer.returned);
    else if (act === "release") await acts.release(piece);
    else if (act === "return") acts.returned(piece);
    else {
      choosing = choosing === act ? "" : act;
      of("told").hidden = true;
    }
  } catch (error) {
    refused(error);
  }
  stand(player, code);
  picked = act === "return" ? null : piece;
  if (act === "quarantine" || act === "inspect") choosing = act;
  draw();
}

/** The gear that something waits to be sent about. */
const unsent = () => new Set(outbox.waiting.flatMap(({ body }) => [body.marker, body.mask, body.bottle]).filter(Boolean));

/** What may be done with it; a return that waits to be sent is not done twice. */
function offered(piece) {
  const sent = unsent();
  return offers(piece, standing(), whoIs).filter(({ act }) => act !== "return" || !sent.has(piece.name));
}

function byLetter(letter) {
  if (letter === "N") return leave();
  const pieces = inHand();
  const offer = pieces.length === 1 ? offered(pieces[0]).find((one) => one.letter === letter) : null;
  if (!offer) return tell("no", `${letter} does nothing now`, ["A letter of a button and Enter does what the button does."]);
  return perform(offer.act, pieces[0], standing(), offer);
}

function buttons(piece) {
  return offered(piece).map((offer) => {
    const button = el("button", { type: "button", "data-act": offer.act, class: offer.loud ? "loud" : undefined, "aria-expanded": ["quarantine", "inspect"].includes(offer.act) ? String(choosing === offer.act) : undefined }, el("kbd", {}, offer.letter), ` ${offer.words}`);
    button.addEventListener("click", () => perform(offer.act, piece, standing(), offer));
    return button;
  });
}

/** What is wrong with it, or what an inspection found. */
function choice(piece) {
  if (!choosing) return null;
  const fault = (name, then) => {
    const button = el("button", { type: "button", "data-fault": name }, show.words(name));
    button.addEventListener("click", () => {
      choosing = "";
      then();
      draw();
    });
    return button;
  };
  if (choosing === "quarantine") return el("div", { id: "choice" }, el("h3", {}, "What is wrong with it?"), el("div", { class: "row" }, ...FAULTS[piece.kind].map((name) => fault(name, () => acts.quarantine(piece, name)))));
  const found = (cover, faults) => () => acts.inspected(piece, { cover, faults });
  const good = piece.kind === "marker" ? fault("no fault, barrel cover seen", found(true, [])) : fault("no fault", found(false, []));
  return el("div", { id: "choice" }, el("h3", {}, "What did you find?"), el("div", { class: "row" }, good, ...FAULTS[piece.kind].map((name) => fault(name, found(false, [name])))));
}

function draw() {
  drawLink();
  if (!follower.view || !key()) return;
  const focused = document.activeElement?.dataset ?? {};
  const view = player && !standing() ? { ...follower.view, customer: null } : follower.view;
  const waiting = unsent();
  const given = { measures, waiting, buttons, choice, leave: () => leave(), pick, whoIs };
  of("customer").replaceChildren(...(player && !standing() ? [el("h2", {}, "…")] : show.customer(view, given)));
  of("hand").replaceChildren(...show.hand(view, inHand(), given));
  for (const name of ["act", "piece", "fault"]) if (focused[name]) document.querySelector(`[data-${name}="${focused[name]}"]`)?.focus();
  if (unfocused()) of("said").focus();
}

function pick(piece) {
  turnTo(piece.name);
  picked = piece;
  of("told").hidden = true;
  draw();
  of("said").focus();
}

/** What the chronograph says of the markers that are shown; asked anew with each new view. */
async function measure() {
  const shown = [...(follower.view.customer?.gear ?? []), ...inHand()].filter(({ kind }) => kind === "marker");
  await Promise.all([...new Set(shown.map(({ name }) => name))].map(async (name) => {
    try {
      measures.set(name, (await get(`/velocity/markers/${encodeURIComponent(name)}`)).fields);
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      measures.delete(name); // in doubt it is said that nothing is known
    }
  }));
  draw();
}

async function restock() {
  if (!key() || of("counter").hidden) return;
  try {
    const { view } = follower;
    stock = await get("/equipment/stock", { at_least: view && `${view.epoch}:${view.position}` });
    of("spares").replaceChildren(...show.spares(stock));
    of("out-title").textContent = `Still out: ${stock.out.length}`;
    of("out").replaceChildren(...show.out(stock, clock, (name) => turnTo(name)));
  } catch (error) {
    if (!(error instanceof Refusal)) throw error;
  }
}

document.addEventListener("keydown", (event) => {
  if (event.key === "Escape" && !of("counter").hidden) leave();
});
follower.addEventListener("view", () => {
  measure();
  restock();
});
outbox.addEventListener("answered", restock);
setInterval(restock, STOCK_MS);
new Scanner({ input: of("said"), shown: of("read"), take });

of("title").textContent = `Gear counter · ${park}`;
start();
