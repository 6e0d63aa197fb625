/** Who is ready, by groups, to be taken into the next game; and who is not, why, and where it is cleared. */

import { el, words } from "../../board/dom.js";

export const ALONE = "";

/** The players who are cleared and on no waiting list, by group; who came alone last. */
export function groups(players) {
  const found = new Map();
  for (const one of players.filter((player) => player.cleared && !player.called)) {
    const name = one.group ?? ALONE;
    found.set(name, [...(found.get(name) ?? []), one]);
  }
  return [...found].sort(([one], [other]) => (one === ALONE) - (other === ALONE) || one.localeCompare(other));
}

/** A button for each group that is ready: pressed while it is taken. */
export function groupButtons(some, taken, next, touch) {
  return some.map(([name, players]) => {
    const numbers = players.map((one) => one.armband).join(" ");
    const button = el(
      "button",
      { type: "button", "data-group": name, "aria-pressed": String(taken.has(name)), class: next.has(name) ? "next" : undefined },
      el("b", {}, `${players.length} × ${name === ALONE ? "came alone" : name}`),
      el("small", {}, numbers),
    );
    button.addEventListener("click", () => touch(name));
    return button;
  });
}

/** Those with one thing missing first: they are ready soonest. Whoever is on a list that waits comes before anybody. */
export function notReady(players) {
  return players
    .filter((one) => !one.cleared)
    .sort((one, other) => !one.called - !other.called || one.reasons.length - other.reasons.length || one.armband - other.armband);
}

/** One who is not ready: his armband, his list if he is on one, every reason, and where each is cleared. */
export function notReadyItem(one, colour) {
  const reasons = one.reasons.map((reason) => el("li", {}, el("b", {}, `${words(reason.code)} → ${reason.where}`), ` ${reason.sentence}`));
  const on = one.called ? `${colour ? `${colour}, ` : ""}called to ${one.called}` : (one.group ?? "came alone");
  return el("li", { class: one.called ? "called" : undefined }, el("strong", {}, String(one.armband)), el("span", {}, on), el("ul", {}, ...reasons));
}
