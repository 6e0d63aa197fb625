/** What was set aside, in groups of one device and one reason; an open group shows its lines, and judges them one by one or all at once. */

import { el, words } from "../../board/dom.js";
import { clock, twice } from "./cards.js";

const DISMISSALS = ["recorded_by_hand", "already_recorded", "did_not_happen", "unreadable"];
export const number = (many) => many.toLocaleString("en-GB");
export const lines = (many) => (many === 1 ? "1 line" : `${number(many)} lines`);
export const reason = (why) => why.replace("/problems/", "");
const spoken = (why) => reason(why).replaceAll("-", " ");
export const nameOf = ({ device, why }) => `${device} ${reason(why)}`;

const between = (first, last) => (first === last ? `${first}` : `${first} to ${last}`);

/** One device with all of its groups: how much waits of it, and why. */
export function asideCard(device, groups, shown) {
  const many = groups.reduce((sum, one) => sum + one.lines, 0);
  return el(
    "article",
    { "data-aside": device },
    el("h3", {}, `${device}: ${lines(many)} to judge`),
    el("ul", { class: "groups" }, ...groups.map((one) => groupItem(one, shown))),
  );
}

function groupItem(group, shown) {
  const name = nameOf(group);
  const open = shown.group === name;
  const turn = el("button", { type: "button", id: `open ${name}`, "aria-expanded": String(open) }, open ? "Close" : "Look");
  turn.addEventListener("click", () => shown.look(open ? null : name));
  const numbered = group.first_seq === null ? "" : `, ${group.first_seq === group.last_seq ? "number" : "numbers"} ${between(group.first_seq, group.last_seq)}`;
  return el(
    "li",
    { "data-group": name },
    el("div", { class: "head" }, el("p", {}, el("strong", {}, `${number(group.lines)} × ${spoken(group.why)}`), `${numbered}, came ${between(clock(group.first_at), clock(group.last_at))}`), turn),
    ...(open ? [] : [el("p", {}, `Such as: ${group.such_as}`)]),
    ...(open ? opened(group, shown) : []),
  );
}

function opened(group, shown) {
  if (!shown.lines) return [el("p", {}, "Asking for its lines…")];
  const more = shown.lines.length > 0 && group.lines - shown.lines.length;
  return [
    ...(group.lines > 1 ? [together(group, shown)] : []),
    el("ul", { class: "lines" }, ...shown.lines.map((one) => lineCard(one, shown))),
    ...(more > 0 ? [el("p", { class: "more" }, `These wait longest. ${lines(more)} more of this group will show here once these are judged.`)] : []),
  ];
}

/** All of a group at once, or those of a span of the device's own numbers. */
function together(group, shown) {
  if (shown.busy) return el("p", { class: "together" }, el("strong", {}, "They are being judged…"));
  const name = nameOf(group);
  const span = (key, label) => {
    const input = el("input", { id: `${key} ${name}`, type: "number", min: 0, value: shown.span[key], "aria-label": label, placeholder: group[key] });
    input.addEventListener("input", () => (shown.span[key] = input.value));
    return input;
  };
  const many = lines(group.lines);
  return el(
    "div",
    { class: "together", role: "group", "aria-label": `All of ${name}` },
    el("p", {}, el("strong", {}, `All ${many} at once`), ": each is still decided by its own rules, in its order; one that is refused again stays."),
    ...(group.first_seq === null ? [] : [el("div", { class: "row span" }, el("span", {}, "or only numbers"), span("first_seq", "first number"), el("span", {}, "to"), span("last_seq", "last number"))]),
    ...twice(`accept ${name}`, "They happened: record them", `Record ${many} of ${group.device}, or those of the numbers above?`, ["yes, they happened"], () => shown.judge(group, null), shown.opened, "go"),
    ...twice(`dismiss ${name}`, "Leave them unrecorded", `Leave ${many} of ${group.device} unrecorded, or those of the numbers above: why?`, DISMISSALS, (cause) => shown.judge(group, cause), shown.opened),
  );
}

function lineCard(one, { opened: touched, stayed, accept, dismiss }) {
  const yes = el("button", { type: "button", id: `accept ${one.line}` }, "It happened: record it");
  yes.addEventListener("click", () => accept(one));
  const again = stayed.get(one.line);
  return el(
    "li",
    { "data-line": one.line },
    el("h4", {}, `${one.device}${one.seq === null ? "" : `, number ${one.seq}`}, received ${clock(one.received_at)}`),
    el("p", {}, el("strong", {}, spoken(one.why)), `: ${one.detail}`),
    ...(again ? [el("p", { class: "again" }, `Refused again: ${again}`)] : []),
    el("pre", {}, one.claimed ?? ""),
    el("div", { class: "row" }, yes),
    ...twice(`dismiss ${one.line}`, "Leave it unrecorded", "Leave it unrecorded: why?", DISMISSALS, (cause) => dismiss(one, cause), touched),
  );
}
