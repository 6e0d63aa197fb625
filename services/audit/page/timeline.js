/** The timeline: each event with its times, its words, the rule, what followed, and who told it. */

import { el } from "../board/dom.js";

const clockOf = {
  corrected: "its clock was corrected",
  claimed: "by its own clock, not checked",
  impossible: "its clock was impossible: the time of receipt stands",
};

/** How an instant reads on the park's own clock. */
export function clock(zone, options = { hour: "2-digit", minute: "2-digit", second: "2-digit" }) {
  const format = new Intl.DateTimeFormat("en-GB", { timeZone: zone, ...options });
  return (instant) => format.format(instant);
}

export function reasons(list) {
  return list.length > 0 && el("ul", { class: "reasons" }, ...list.map(({ sentence, where }) => el("li", {}, `${sentence} (${where.replaceAll("_", " ")})`)));
}

export function verdict(granted, sentence, list = []) {
  return el("div", {}, el("p", { class: `verdict ${granted ? "granted" : "refused"}` }, sentence), reasons(list));
}

function told(event, local, leave) {
  const from = [
    `position ${event.position}`,
    `recorded ${local(Date.parse(event.recorded_at))}`,
    `on ${event.device}`,
    event.actor && `by ${event.actor}`,
    clockOf[event.clock],
    event.corrected_by.length > 0 && `corrected at position ${event.corrected_by.join(", ")}`,
  ];
  const box = el("input", { type: "checkbox", "data-position": String(event.position) });
  box.addEventListener("change", () => leave(event.position, box.checked));
  return el(
    "li",
    { class: event.corrected_by.length ? "corrected" : undefined, "data-position": String(event.position) },
    el("time", { datetime: event.occurred_at }, local(Date.parse(event.occurred_at)), el("small", {}, event.local_time.slice(0, 10))),
    el(
      "div",
      {},
      event.lateness && el("p", { class: "late" }, event.lateness),
      el("p", { class: "said" }, event.sentence),
      event.decision && verdict(event.decision.granted, event.decision.sentence, event.decision.reasons),
      event.consequence && el("p", { class: "after" }, event.consequence),
      event.rule && el("details", {}, el("summary", {}, "the rule then in force"), el("p", {}, event.rule)),
      el("p", { class: "from" }, from.filter(Boolean).join(" · ")),
    ),
    el("label", { class: "leave" }, box, " leave out"),
  );
}

/** Show a story; `leave(position, ticked)` is told of every tick. */
export function show(list, story, leave) {
  const local = clock(story.time_zone);
  list.replaceChildren(...story.events.map((event) => told(event, local, leave)));
}

/** Fade what was not yet so at a moment: not yet recorded, or not yet happened. */
export function fade(list, story, axis, moment) {
  const later = new Set(
    story.events.filter((event) => Date.parse(axis === "recorded" ? event.recorded_at : event.occurred_at) > moment).map((event) => String(event.position)),
  );
  list.dataset.axis = axis;
  for (const item of list.children) item.classList.toggle("not-yet", later.has(item.dataset.position));
}
