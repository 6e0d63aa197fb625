/** The desk's page: a walk-up, a family or a member of a group is registered, signs, pays, is briefed and gets a pass. */

import { el, unfocused } from "../../board/dom.js";
import { Follower } from "../../page/follow.js";
import { base, key, Outbox, park, Refusal, whoShows } from "../../page/park.js";
import { brief, Scanner } from "../../page/scan.js";
import { of, problem, station } from "../../page/station.js";
import { button, cardOf } from "./cards.js";
import { control, freshCode, PANELS } from "./panels.js";
import { Party } from "./party.js";
import { Asking } from "./register.js";

const FIELD = "fieldledger desk field";
const LONGEST_CODE = 64;
const outbox = new Outbox("desk");
const follower = new Follower(outbox);
const party = new Party(outbox, follower);
const asking = new Asking(outbox);
const { refused, clock, drawLink, start } = station({ follower, outbox, shown: ["desk", "for", "forget"], begin, draw, leave, told });
let open = "";
let busy = false;

const tell = (sentence) => (of("read").textContent = sentence);

/** What needs an answer now and got none: said, and nothing of it is kept but what stands in a panel. */
function unanswered(what, error) {
  if (!(error instanceof Refusal)) return problem(error.message);
  if (error.status === 401) return refused(error);
  return problem(error.status === 0 ? `${what} needs the network, and the park's server cannot be reached. ${open ? "What you entered stays here: try" : "Try"} again once it says live.` : error.message);
}

function leave() {
  of("paper").replaceChildren();
  party.names.clear();
  close();
}

function told(refusal) {
  problem(refusal.asked ? `Not recorded (${refusal.asked.command.split("/")[1].replaceAll("-", " ")}): ${refusal.message}` : refusal.message);
}

function begin() {
  follow();
  outbox.go();
}

function follow() {
  follower.follow("/registration/desk-list", { players: party.players.join(","), field: sessionStorage.getItem(FIELD) });
}

/** Who has this pass or armband joins the list. */
async function find(asked, called) {
  try {
    const found = await whoShows(asked);
    party.add(found.player);
    follow();
    tell(`Armband ${found.armband} is on the list.${found.replaced ? " That pass was replaced by a newer one: take it away." : ""}`);
  } catch (error) {
    if (error instanceof Refusal && error.status === 404) problem(`Nobody has ${called} today. Look again; whoever is new here is registered with N.`);
    else unanswered("Looking up a pass or an armband", error);
  }
}

async function take(code, how) {
  problem("");
  const letter = code.toUpperCase();
  if (how === "typed" && ACTS.has(letter)) {
    tell("");
    return perform(letter);
  }
  const blank = how === "scanned" && code.length <= LONGEST_CODE && of("panel").querySelector("[name=code]");
  if (blank) {
    blank.value = code;
    return tell(`Pass ${code} will be given.`);
  }
  return /^\d{1,4}$/.test(code) ? find({ armband: code }, `armband ${Number(code)}`) : find({ day_pass: code }, `pass ${brief(code)}`);
}

/** What a letter or its button does; `card` where it was pressed on somebody's card. */
async function perform(letter, card = undefined) {
  problem("");
  if (letter === "off") {
    party.drop(card.player);
    follow();
  } else if (letter === "X" || letter === "S") await paper(card ? [card.player] : party.players);
  else if (letter === "C") await back(card);
  else if (letter === "D") {
    close();
    party.clear();
    follow();
    tell("The list is empty. Next, please.");
  } else show(letter, card);
  draw();
}

async function back(card) {
  if (!card) return tell("Press it on the card of whoever came back.");
  try {
    await asking.once("registration/record-return", [card.player], () => ({ player: card.player }));
    tell(`Armband ${card.armband} is back.`);
  } catch (error) {
    unanswered("Recording a return", error);
  }
  return undefined;
}

/** Passes on paper: fetched with the key, shown to the printer, and nowhere else. */
async function paper(players) {
  if (players.length === 0) return tell("Nobody is on the list.");
  try {
    const answer = await fetch(`${base}/registration/pass-sheet?players=${players.join(",")}`, { headers: { Authorization: `Bearer ${key()}` }, signal: AbortSignal.timeout(20_000) }).catch(() => null);
    if (!answer) throw new Refusal(0, "");
    const text = await answer.text();
    if (!answer.ok) throw new Refusal(answer.status, JSON.parse(text).detail);
    const sheet = new DOMParser().parseFromString(text, "text/html").querySelector("main.passes");
    of("paper").replaceChildren(el("div", { class: "passes" }, ...sheet.children));
    tell(`${players.length} ${players.length === 1 ? "pass" : "passes"} to the printer.`);
    print();
  } catch (error) {
    unanswered("Printing a pass", error);
  }
  return undefined;
}

function show(letter, card) {
  const panel = PANELS[letter];
  const { view } = follower;
  if (!view) return;
  const empty = panel.empty?.(party) ?? (letter !== "N" && party.cards.length === 0 ? "Nobody is on the list: scan a pass, type an armband, or register somebody with N." : "");
  if (empty) {
    close();
    tell(empty);
    return;
  }
  open = letter;
  const title = typeof panel.title === "function" ? panel.title(view) : panel.title;
  const fields = panel.fields(party, view, card).map(control);
  const note = panel.note ? [el("p", { class: "small" }, panel.note)] : [];
  of("panel").replaceChildren(el("h2", {}, title), ...fields, ...note, el("div", { class: "row" }, el("button", { class: "do" }, `${panel.button} ⏎`), button("", "Leave it (Esc)", escape, { name: "leave" })));
  of("panel").hidden = false;
  of("panel").querySelector("input:not([type=checkbox]), select, input, button.do").focus();
}

function close() {
  open = "";
  of("panel").hidden = true;
  of("panel").replaceChildren();
}

function escape() {
  close();
  draw();
  of("said").focus();
}

function values() {
  const form = new FormData(of("panel"));
  const given = Object.fromEntries(form.entries());
  if (of("panel").querySelector("[type=checkbox]")) given.players = form.getAll("players");
  for (const [name, value] of Object.entries(given)) if (typeof value === "string") given[name] = value.trim();
  return given;
}

/** What the panels record with. */
const desk = {
  get view() {
    return follower.view;
  },
  put(command, body) {
    outbox.put(command, body);
  },
  cardsOf: (players) => party.cards.filter((card) => players.includes(card.player)),
  async register(asked) {
    if (asked.part !== "signer" && !asked.armband) throw new Error("Type the number on the armband.");
    const made = await asking.register(asked, follower.view.day);
    if (asked.name && !made.unkept) party.names.set(made.person, asked.name);
    if (made.player) party.add(made.player);
    else party.addSigner({ person: made.person, age_band: made.age_band });
    if (made.unkept) problem(`Registered, but the name is not kept: ${made.unkept}`);
    follow();
    return made.player ? `Armband ${asked.armband} is registered.` : "Registered as somebody who signs, and does not enter.";
  },
  async reissue({ player, fault, code }) {
    await asking.once("registration/reissue-pass", [player, fault, code], () => ({ player, day_pass: code || freshCode(), fault }));
    return "The new pass is given: print it. The old one names nobody any more.";
  },
};

async function submit() {
  if (busy) return;
  const given = values();
  if (given.players?.length === 0) return problem("Nobody is ticked.");
  problem("");
  busy = true;
  of("panel").querySelector("button.do").disabled = true;
  const panel = PANELS[open];
  try {
    const said = await panel.record(given, desk);
    close();
    tell(said ?? (follower.live ? "Recorded." : "Recorded here; it is sent once the network is back."));
    of("said").focus();
  } catch (error) {
    const asked = error instanceof Refusal ? panel.button.toLowerCase() : "";
    unanswered(asked === "register" ? "Registering somebody" : "Giving a new pass", error);
    const again = of("panel").querySelector("button.do");
    if (again) again.disabled = false;
  } finally {
    busy = false;
    draw();
  }
  return undefined;
}

const ACTS = new Map([["N", "Register …"], ["W", "Waiver …"], ["G", "Guardian …"], ["P", "Payment …"], ["B", "Briefing …"], ["R", "New pass …"], ["S", "Print all"], ["D", "Done: next"]]);

function draw() {
  drawLink();
  if (!follower.view || !key()) return;
  const { view } = follower;
  of("sign-in").hidden = true;
  of("desk").hidden = of("for").hidden = of("forget").hidden = false;
  const fields = view.fields.map(({ field, title }) => el("option", { value: field, selected: field === view.field }, title));
  if (document.activeElement !== of("field")) of("field").replaceChildren(...fields);
  const focused = document.activeElement?.dataset?.act;
  const within = document.activeElement?.closest("[data-player]")?.dataset.player;
  of("acts").replaceChildren(...[...ACTS].map(([letter, words]) => button(letter, words, () => perform(letter), { pressed: letter in PANELS ? open === letter : undefined })));
  const outside = party.signers.map((one) => el("p", { class: "signer", "data-person": one.person }, party.names.get(one.person) ?? `Adult ${one.person.slice(-4)}`, " signs only, and stays outside."));
  const cards = party.cards.map((card) => cardOf(card, party.names.get(card.person), perform, follower));
  const none = cards.length === 0 && el("p", { class: "none" }, "Nobody is on the list. Scan a pass, type an armband, or register somebody with N.");
  of("people").replaceChildren(...[none, ...cards, ...outside].filter(Boolean));
  const place = within ? of("people").querySelector(`[data-player="${within}"]`) : of("acts");
  if (focused) place?.querySelector(`[data-act="${focused}"]`)?.focus();
  if (unfocused()) of("said").focus();
}

of("field").addEventListener("change", () => {
  sessionStorage.setItem(FIELD, of("field").value);
  follow();
  of("said").focus();
});
of("panel").addEventListener("submit", (event) => {
  event.preventDefault();
  submit();
});
of("panel").addEventListener("keydown", (event) => {
  if (event.key !== "Enter" || event.target.tagName !== "SELECT") return; // a list opens by the space bar
  event.preventDefault();
  of("panel").requestSubmit();
});
document.addEventListener("keydown", (event) => {
  if (event.key === "Escape" && !of("desk").hidden) escape();
});
new Scanner({ input: of("said"), shown: of("read"), take });

of("title").textContent = `Desk · ${park}`;
start();
