/** The park's devices: who may speak to it, when each was last heard, and what waits to be judged. A manager invites and revokes here. */

import { el, words } from "../../board/dom.js";
import { AGAIN_MS, forget, get, key, Outbox, park, Refusal, uuid7 } from "../../page/park.js";
import { signIn } from "../../page/sign-in.js";
import { clock, deviceCard, lineCard, ROLES } from "./cards.js";

const of = (id) => document.getElementById(id);
const NO_KEY = "This is no key of this park, or it was revoked. Copy it whole, the device's name, the dot and what follows.";
const outbox = new Outbox("devices");
const names = new Map(); // a request that nobody knows the outcome of is sent again under the same name
let round = 0;
let heard = "";
let shown = "";
let wake = () => {};
let answers = { devices: [], lines: [] };

/** What has been touched once; it stays open while the list is asked for again. */
const opened = {
  id: null,
  turn(id) {
    this.id = id;
    render();
  },
};

function say(id, sentence = "") {
  of(id).hidden = !sentence;
  of(id).textContent = sentence;
}

function signOut(sentence = "") {
  forget();
  round += 1;
  shown = "";
  answers = { devices: [], lines: [] };
  opened.id = null;
  for (const id of ["invite", "forget", "inviting", "aside", "code", "done"]) of(id).hidden = true;
  of("code-itself").textContent = "";
  of("list").replaceChildren();
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
      const [{ devices, as_of }, { lines }] = await Promise.all([get("/devices"), get("/devices/set-aside")]);
      if (mine !== round) return;
      if (document.body.classList.contains("stale") || !of("sign-in").hidden) say("problem");
      answers = { devices, lines };
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
      say("problem", error.message);
    }
    await new Promise((resolve) => {
      wake = resolve;
      setTimeout(resolve, AGAIN_MS);
    });
  }
}

/** Whoever has come to a button by keyboard stays on it. */
function render() {
  const now = JSON.stringify([answers, opened.id]);
  if (now === shown) return;
  shown = now;
  const at = document.activeElement?.id;
  of("list").replaceChildren(...answers.devices.map((one) => deviceCard(one, { opened, revoke, invite })));
  of("lines").replaceChildren(...answers.lines.map((one) => lineCard(one, { opened, accept, dismiss })));
  of("aside").hidden = answers.lines.length === 0;
  if (at) of(at)?.focus({ preventScroll: true });
}

/** Ask for something that counts only once it is answered. Until then the page says that it is not done. */
async function ask(command, body, doing, done) {
  const what = JSON.stringify([command, body]);
  if (!names.has(what)) names.set(what, uuid7());
  say("problem");
  say("done", `${doing}…`);
  try {
    const receipt = await outbox.ask(command, body, names.get(what));
    names.delete(what);
    opened.id = null;
    say("done", done);
    wake();
    return receipt;
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
const accept = ({ line, device }) => ask("devices/accept-line", { line }, `Recording a line of ${device}`, "It is recorded, under its own device and time.");
const dismiss = ({ line, device }, cause) => ask("devices/dismiss-line", { line, cause }, `Dismissing a line of ${device}`, "It stays unrecorded; that you decided so is on the record.");

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
