/** One device as it is shown, and what the page's cards share; what is touched is handed back. */

import { el, words } from "../../board/dom.js";

export const ROLES = ["desk", "gear", "chrono", "staging", "referee", "head_referee", "first_aider", "manager", "auditor", "board", "integrator"];
const CAUSES = ["lost", "stolen", "replaced", "retired", "misused"];
const STATES = { enrolled: "● ENROLLED", invited: "○ INVITED, not enrolled yet", revoked: "✖ REVOKED" };
const CLOCK_OFF_MS = 60_000;

/** The device's own time of day; the date where it is not today's. */
export function clock(moment) {
  const then = new Date(moment);
  const day = then.toDateString() === new Date().toDateString() ? {} : { day: "numeric", month: "short" };
  return then.toLocaleString("en-GB", { ...day, hour: "2-digit", minute: "2-digit", second: "2-digit", hourCycle: "h23" });
}

function offset(ms) {
  if (ms === null) return ["not told", false];
  const seconds = Math.abs(ms) / 1000;
  const far = seconds < 120 ? `${seconds.toFixed(1)} s` : seconds < 7200 ? `${Math.round(seconds / 60)} min` : `${Math.round(seconds / 3600)} h`;
  return Math.abs(ms) < 100 ? ["right", false] : [`${far} ${ms > 0 ? "ahead" : "behind"}`, Math.abs(ms) > CLOCK_OFF_MS];
}

function numbers(one) {
  if (one.last_seq === null) return ["not counted", false];
  const missing = one.holes.map(([first, last]) => (first === last ? `${first}` : `${first} to ${last}`)).join(", ");
  return missing ? [`up to ${one.last_seq}; MISSING ${missing}`, true] : [`up to ${one.last_seq}, none missing`, false];
}

function line(name, [value, warn]) {
  return [el("dt", {}, name), el("dd", { class: warn && "warn" }, value)];
}

/** A button whose touch shows what may follow; the second touch does it. Escape, or the same button, takes it back. */
export function twice(id, label, question, choices, chosen, opened, kind = "stop") {
  const open = opened.id === id;
  const first = el("button", { type: "button", id, class: kind, "aria-expanded": String(open) }, label);
  first.addEventListener("click", () => opened.turn(open ? null : id));
  if (!open) return [first];
  const made = choices.map((choice) => {
    const button = el("button", { type: "button", id: `${id}-${choice}`, class: kind }, words(choice));
    button.addEventListener("click", () => chosen(choice));
    return button;
  });
  return [first, el("p", {}, el("strong", {}, question)), el("div", { class: "row", role: "group", "aria-label": question }, ...made)];
}

export function deviceCard(one, { opened, revoke, invite }) {
  const anew = el("button", { type: "button", id: `anew ${one.device}` }, "Invite anew");
  anew.addEventListener("click", () => invite(one));
  const [revoking, ...sure] = twice(`revoke ${one.device}`, "Revoke", `Revoke ${one.device}: why? It can do nothing from then on.`, CAUSES, (cause) => revoke(one, cause), opened);
  const waits = one.invited_until && `a code waits until ${clock(one.invited_until)}`;
  return el(
    "article",
    { class: one.state, "data-device": one.device },
    el("h2", {}, one.device),
    el("p", { class: "state" }, STATES[one.state], one.revoked_at && `, ${clock(one.revoked_at)}`),
    el("p", {}, one.roles.map(words).join(", "), one.station && `, at ${one.station}`),
    el(
      "dl",
      {},
      ...line("Last heard", [one.seen_at ? clock(one.seen_at) : "never", false]),
      ...line("Version", [one.version ?? "not told", false]),
      ...line("Clock", offset(one.ahead_ms)),
      ...line("Numbers", numbers(one)),
      ...(one.set_aside > 0 ? line("Set aside", [`${one.set_aside} to judge, below`, true]) : []),
      ...(waits ? line("Invitation", [waits, false]) : []),
    ),
    el("div", { class: "row" }, anew, revoking),
    ...sure,
  );
}
