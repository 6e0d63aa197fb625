/** The park's devices: who may speak to it, when each was last heard, and what waits to be judged. A manager invites and revokes here. */

import { el, words } from "../../board/dom.js";
import { AGAIN_MS, forget, get, key, Outbox, park, Refusal, uuid7 } from "../../page/park.js";
import { signIn } from "../../page/sign-in.js";
import { asideCard, lines, nameOf, number, reason } from "./asides.js";
import { clock, deviceCard, ROLES } from "./cards.js";

const of = (id) => document.getElementById(id);
const NO_KEY = "This is no key of this park, or it was revoked. Copy it whole, the device's name, the dot and what follows.";
const outbox = new Outbox("devices");
const names = new Map(); // a request that nobody knows the outcome of is sent again under the same name
let round = 0;
let heard = "";
let unheard = false; // whether what stands there is only that nothing is heard
let wake = () => {};
let answers = { devices: [], aside: { groups: [] } };
const drawn = new Map(); // what a part of the page was last drawn from

/** What has been touched once; it stays open while the list is asked for again. */
const opened = {
  id: null,
  turn(id) {
    this.id = id;
    render();
  },
};

/** What was set aside as it is looked at: the open group and its lines, once they are here; the span that was typed; the lines that were refused again. */
const aside = {
  group: null,
  lines: null,
  span: { first_seq: "", last_seq: "" },
  stayed: new Map(),
  busy: false,
  opened,
  accept,
  dismiss,
  judge,
  look(name) {
    Object.assign(this, { group: name, lines: null, span: { first_seq: "", last_seq: "" } });
    opened.turn(null);
    wake();
  },
};

function say(id, sentence = "") {
  of(id).hidden = !sentence;
  of(id).textContent = sentence;
}

function signOut(sentence = "") {
  forget();
  round += 1;
  drawn.clear();
  answers = { devices: [], aside: { groups: [] } };
  opened.id = null;
  Object.assign(aside, { group: null, lines: null, busy: false });
  aside.stayed.clear();
  for (const id of ["invite", "forget", "inviting", "aside", "to-judge", "code", "done"]) of(id).hidden = true;
  of("code-itself").textContent = "";
  for (const id of ["list", "groups"]) of(id).replaceChildren();
  of("as-of").textContent = "";
  document.body.classList.remove("stale");
  of("sign-in").hidden = false;
  of("key").value = "";
  of("key").focus();
  say("problem", sentence);
}

/** Ask for the devices again and again. What was heard last stays, marked as old, while nothing new is. */
async function run() {
  const mine = ++round;
  while (mine === round) {
    try {
      const [{ devices, as_of }, groups] = await Promise.all([get("/devices"), get("/devices/set-aside/groups")]);
      const looked = groups.groups.find((one) => nameOf(one) === aside.group);
      const found = looked && (await get("/devices/set-aside", { device: looked.device, problem: reason(looked.why) })).lines;
      if (mine !== round) return;
      if (!looked) aside.group = null;
      else if (nameOf(looked) === aside.group) aside.lines = found;
      if (unheard || !of("sign-in").hidden) say("problem");
      unheard = false;
      answers = { devices, aside: groups };
      heard = clock(as_of);
      document.body.classList.remove("stale");
      of("as-of").textContent = `● as of ${heard}`;
      of("sign-in").hidden = true;
      of("invite").hidden = of("forget").hidden = false;
      render();
    } catch (error) {
      if (mine !== round) return;
      if (!(error instanceof Refusal)) throw error;
      if (error.status === 401) return signOut(NO_KEY);
      if (error.status === 403) return signOut(error.message);
      document.body.classList.add("stale");
      of("as-of").textContent = heard ? `✖ NOT CONNECTED: this is of ${heard}` : "✖ nothing heard yet";
      if (unheard || of("problem").hidden) say("problem", error.message); // what was not done is said until something else is asked for
      unheard = of("problem").textContent === error.message;
    }
    await new Promise((resolve) => {
      wake = resolve;
      setTimeout(resolve, AGAIN_MS);
    });
  }
}

/** Whoever has come to a button by keyboard stays on it. */
function render() {
  const { groups } = answers.aside;
  const devices = [...new Set(groups.map((one) => one.device))];
  draw("list", [answers.devices, opened.id], () => answers.devices.map((one) => deviceCard(one, { opened, revoke, invite })));
  draw("groups", [groups, aside.group, aside.lines, aside.busy, [...aside.stayed], opened.id], () =>
    devices.map((device) => asideCard(device, groups.filter((one) => one.device === device), aside)),
  );
  of("aside").hidden = of("to-judge").hidden = groups.length === 0;
  of("to-judge").textContent = `▲ ${lines(groups.reduce((sum, one) => sum + one.lines, 0))} to judge`;
}

function draw(id, what, made) {
  const now = JSON.stringify(what);
  if (now === drawn.get(id)) return;
  drawn.set(id, now);
  const at = of(id).contains(document.activeElement) && document.activeElement.id;
  of(id).replaceChildren(...made());
  if (at) of(at)?.focus({ preventScroll: true });
}

/** Ask for something that counts only once it is answered. Until then the page says that it is not done. */
async function ask(command, body, doing, done, shaped) {
  const what = JSON.stringify([command, body]);
  if (!names.has(what)) names.set(what, uuid7());
  say("problem");
  unheard = false;
  say("done", `${doing}…`);
  try {
    const answer = await outbox.ask(command, body, names.get(what), shaped);
    names.delete(what);
    opened.id = null;
    say("done", done);
    wake();
    return answer;
  } catch (error) {
    if (!(error instanceof Refusal)) throw error;
    if (!error.passing) names.delete(what);
    say("done");
    if (error.status === 401) signOut(NO_KEY);
    else say("problem", `NOT DONE: ${doing}. ${error.message}`);
    return null;
  }
}

const revoke = ({ device }, cause) => ask("devices/revoke-device", { device, cause }, `Revoking ${device}`, `${device} is revoked: its key opens nothing any more.`);

function accept({ line, device }) {
  return ask("devices/accept-line", { line }, `Recording a line of ${device}`, "It is recorded, under its own device and time.");
}

function dismiss({ line, device }, cause) {
  return ask("devices/dismiss-line", { line, cause }, `Dismissing a line of ${device}`, "It stays unrecorded; that you decided so is on the record.");
}

/** A group, or those of its lines that lie in the span: some hundreds a request, until none is left that was not looked at. Only what stood on the page is judged. */
async function judge(group, cause) {
  if (aside.busy) return;
  const mine = round;
  const span = Object.fromEntries(Object.entries(aside.span).filter(([, value]) => value !== "").map(([key, value]) => [key, Number(value)]));
  const chosen = { device: group.device, problem: reason(group.why), received_until: answers.aside.as_of, ...span, ...(cause && { cause }) };
  const judged = cause ? "left unrecorded" : "recorded";
  let done = 0;
  let left = 0;
  let after = null;
  aside.busy = true;
  render();
  do {
    const so = done ? `; ${number(done)} are judged and stay so` : "";
    const answer = await ask(`devices/${cause ? "dismiss" : "accept"}-lines`, { ...chosen, after }, `Judging ${lines(group.lines)} of ${group.device}${so}`, "", ({ judged: many }) => Number.isInteger(many));
    if (mine !== round) return;
    if (!answer) break;
    for (const { line, detail } of answer.stayed) aside.stayed.set(line, detail);
    [done, left, after] = [done + answer.judged, left + answer.stayed.length, answer.after];
    if (!after) say("done", `${lines(done)} of ${group.device} ${judged}, each on the record.${left ? ` Not so ${lines(left)}: what still waits says why.` : ""}`);
  } while (after);
  aside.busy = false;
  wake();
}

function inviting(open) {
  of("inviting").hidden = !open;
  of("invite").setAttribute("aria-expanded", String(open));
  if (open) of("device").focus();
}

function invite({ device, roles, station }) {
  inviting(true);
  of("device").value = device;
  of("station").value = station ?? "";
  for (const box of of("roles").querySelectorAll("input")) box.checked = roles.includes(box.value);
  of("inviting").scrollIntoView({ block: "start" });
}

async function send() {
  const roles = [...of("roles").querySelectorAll(":checked")].map((box) => box.value);
  if (roles.length === 0) return say("problem", "Say what the device is for: choose at least one.");
  const device = of("device").value.trim();
  const body = { device, roles, station: of("station").value.trim() || null };
  const receipt = await ask("devices/invite-device", body, `Inviting ${device}`, `${device} is invited.`);
  if (!receipt) return;
  if (!receipt.secret) return say("problem", "That invitation was recorded before, and its code was shown then, or was lost with the answer. Make another code.");
  inviting(false);
  of("code-of").textContent = `Code of ${device}`;
  of("code-itself").textContent = receipt.secret;
  of("code-until").textContent = `It works until ${clock(receipt.events[0].data.expires_at)}.`;
  of("code").hidden = false;
  of("code-away").focus();
}

function takeCodeAway() {
  of("code").hidden = true;
  of("code-itself").textContent = "";
  of("inviting").reset();
  of("invite").focus();
}

of("roles").append(...ROLES.map((role) => el("label", {}, el("input", { type: "checkbox", value: role }), words(role))));
of("title").textContent = `Devices · ${park}`;
document.title = of("title").textContent;
signIn(of("sign-in"), run, (sentence) => say("problem", sentence));
of("inviting").addEventListener("submit", (event) => {
  event.preventDefault();
  send();
});
of("invite").addEventListener("click", () => inviting(of("inviting").hidden));
of("not-now").addEventListener("click", () => inviting(false));
of("code-away").addEventListener("click", takeCodeAway);
of("forget").addEventListener("click", () => signOut());
addEventListener("keydown", (event) => event.key === "Escape" && opened.id && opened.turn(null));
if (key()) run();
else signOut();
