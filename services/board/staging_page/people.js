/** Who is ready, by groups, to be taken into the next game; and who is not, why, and where it is cleared. */

import { el, words } from "../../board/dom.js";

export const ALONE = "";

/** The players who are cleared and on no other field's waiting list, by group; who came alone last. */
export function groups(players, field) {
  const found = new Map();
  for (const one of players.filter((player) => player.cleared && (!player.called || player.called === field))) {
    const name = one.group ?? ALONE;
    found.set(name, [...(found.get(name) ?? []), one]);
  }
  return [...found].sort(([one], [other]) => (one === ALONE) - (other === ALONE) || one.localeCompare(other));
}

/** What plays together, as the rotation names it: a group, or a player who came alone. */
export const party = (one) => (one.group ? `group:${one.group}` : `player:${one.player}`);

/** A button for each group that is ready, one for all who came alone: pressed while they are taken, half while some are. */
export function groupButtons(some, taken, touch) {
  return some.map(([name, players]) => {
    const count = players.filter((one) => taken.has(party(one))).length;
    const pressed = count === players.length ? "true" : count ? "mixed" : "false";
    const of = pressed === "mixed" ? `${count} of ${players.length}` : String(players.length);
    const button = el(
      "button",
      { type: "button", "data-group": name, "aria-pressed": pressed },
      el("b", {}, `${of} × ${name === ALONE ? "came alone" : name}`),
      el("small", {}, players.map((one) => one.armband).join(" ")),
    );
    button.addEventListener("click", () => touch(players));
    return button;
  });
}

/** A game of the plan in words: about when, and which groups. */
export function planned(game, clock) {
  const named = game.parties.filter((one) => one.party.startsWith("group:")).map((one) => `${one.party.slice(6)} ${one.players}`);
  const alone = game.parties.filter((one) => one.party.startsWith("player:")).length;
  return `about ${clock(game.start)}: ${[...named, ...(alone ? [`${alone} who came alone`] : [])].join(", ")}`;
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
