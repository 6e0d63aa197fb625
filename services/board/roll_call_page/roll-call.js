/** Two lists for staff: who is on which field when everybody must leave, and who has not left when the park closes. */

import { el, words } from "../board/dom.js";
import { AGAIN_MS, get, park } from "../page/park.js";
import { of, problem, visit } from "../page/station.js";

const LISTS = { "roll-call": ["/games/roll-call", rollCall], closing: ["/closing", closing] };
let chosen = location.hash === "#closing" ? "closing" : "roll-call";
const { refused, start } = visit({ shown: [], begin: run, leave, told: cut });
let round = 0;
let heard = "";

function leave() {
  round += 1;
  for (const made of document.querySelectorAll("nav button")) made.hidden = true;
  of("list").replaceChildren();
  of("as-of").textContent = "";
  document.body.classList.remove("stale");
}

function cut({ message }) {
  document.body.classList.add("stale");
  of("as-of").textContent = heard ? `✖ NOT CONNECTED: this list is of ${heard}. Count heads.` : "✖ nothing heard yet. Count heads.";
  problem(message, { seen: false }); // whoever reads the list stays where he is
}

/** Ask for the list that is chosen, again and again. What was heard last stays, marked as old, while nothing new is. */
async function run() {
  const mine = ++round;
  while (mine === round) {
    try {
      const [path, show] = LISTS[chosen];
      const answer = await get(path);
      if (mine !== round) return;
      heard = clock(answer.as_of);
      document.body.classList.remove("stale");
      of("as-of").textContent = `● as of ${heard}`;
      of("list").replaceChildren(...show(answer));
      of("sign-in").hidden = true;
      for (const made of document.querySelectorAll("nav button")) made.hidden = false;
      problem("");
    } catch (error) {
      if (mine !== round) return;
      refused(error);
    }
    await new Promise((resolve) => setTimeout(resolve, AGAIN_MS));
  }
}

/** The device's own time of day beside the date, for whoever finds a printed list. */
const clock = (moment) => new Date(moment).toLocaleString("en-GB", { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit", second: "2-digit", hourCycle: "h23" });
const counted = (count, one, several = `${one}s`) => `${count} ${count === 1 ? one : several}`;

function section(title, { name, alarm, field } = {}, ...children) {
  return el("section", { "data-name": name, class: [alarm && "alarm", field && "field"].filter(Boolean).join(" ") || undefined }, el("h2", {}, title), ...children);
}

function heads(some) {
  const items = some.map((one) => {
    const marks = [one.colour, one.part !== undefined && one.part !== "player" && one.part].filter(Boolean).join(", ");
    const made = el("li", { class: [one.minor && "minor", one.sought && "sought"].filter(Boolean).join(" ") || undefined }, el("b", {}, String(one.armband)), marks);
    if (one.minor) made.append(" ", el("em", {}, "MINOR"));
    if (one.sought) made.append(" ", el("em", { class: "sought-word" }, "SOUGHT"));
    return made;
  });
  return el("ul", { class: "heads" }, ...items);
}

function rollCall(answer) {
  const fields = Object.entries(answer.fields).sort(([, one], [, other]) => one.title.localeCompare(other.title));
  const onFields = fields.map(([name, one]) => {
    const minors = one.on.filter((head) => head.minor).length;
    const stopped = one.stopped_since ? `Play is stopped since ${clock(one.stopped_since)}. ` : "Play is not stopped here. ";
    const off = one.off_since ?? [];
    return section(
      `${one.title}: ${counted(one.on.length, "person", "people")} on it, ${counted(minors, "minor")}`,
      { name, field: true },
      el("p", {}, `${stopped}${counted(one.staff, "referee")} on duty here.`),
      heads(one.on),
      off.length > 0 && el("h3", {}, `Came off since play was stopped: ${off.length}`),
      off.length > 0 && heads(off),
    );
  });
  const elsewhere = answer.groups.map(({ group, heads: some }) => section(`${group ?? "Came alone"}: ${some.length}`, { name: group ?? "alone" }, heads(some)));
  return [
    el("p", { class: "sum" }, `${answer.on_fields} on the fields, of these ${counted(answer.minors_on_fields, "minor")}. Elsewhere in the park: ${answer.off_fields}, of these ${counted(answer.minors_off_fields, "minor")}.`),
    ...onFields,
    ...elsewhere,
  ];
}

/** One who has not left, by armband; of a minor, to whom it is handed. */
function person(one) {
  const where = [one.group && `group ${one.group}`, one.field && `on field ${one.field}`, one.not_understood && "record not understood"].filter(Boolean).join(", ");
  const adults = one.minor && (one.adults?.length ? `Only to: ${one.adults.join(", ")}` : "No adult answers for it: call the manager");
  return el("li", {}, el("b", {}, String(one.armband)), where, adults && el("p", {}, el("strong", {}, adults)));
}

function listed(title, some, say) {
  return some.length > 0 && section(`${title}: ${some.length}`, { name: title }, el("ul", { class: "plain" }, ...some.map((one) => el("li", {}, say(one)))));
}

function closing(answer) {
  const minors = answer.still_here.filter((one) => one.minor);
  const others = answer.still_here.filter((one) => !one.minor);
  return [
    el("p", { class: "sum" }, answer.sentence),
    minors.length > 0 && section(`Minors who are not collected: ${minors.length}`, { name: "minors", alarm: true }, el("ul", { class: "people" }, ...minors.map(person))),
    others.length > 0 && section(`Others who have not left: ${others.length}`, { name: "others" }, el("ul", { class: "people" }, ...others.map(person))),
    listed("Fields that wait", answer.fields, (one) => `${one.field}, game ${one.game}: ${words(one.state)}${one.missing?.length ? `; missing ${one.missing.join(", ")}` : ""}`),
    listed("Holds that stand", answer.holds, (one) => `${one.field}: ${one.cause}, since ${clock(one.asked_at)}`),
    listed("Gear that is out", answer.gear_out, (one) => `${one.gear}: armband ${one.armband}${one.gone_home ? ", gone home" : ""}`),
    listed("Incidents that are open", answer.incidents, (one) => one),
    listed("Checks that are open", answer.checks, (one) => `${one.title ?? one.check}${one.field ? `, ${one.field}` : ""}`),
  ].filter(Boolean);
}

function choose(name) {
  chosen = name;
  history.replaceState(null, "", name === "closing" ? "#closing" : "#");
  for (const made of document.querySelectorAll("[data-list]")) made.setAttribute("aria-pressed", String(made.dataset.list === name));
  of("title").textContent = `${name === "closing" ? "Closing list" : "Roll-call"} · ${park}`;
  document.title = of("title").textContent;
  start();
}

for (const made of document.querySelectorAll("[data-list]")) made.addEventListener("click", () => choose(made.dataset.list));
of("print").addEventListener("click", () => print());
choose(chosen);
