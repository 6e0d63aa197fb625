/** A proposal of teams as the person at staging may change it: over to the other side, out, or back in. */

import { el, swatch } from "../../board/dom.js";

const NAMES = {
  players: "players",
  years: "years of age",
  first_timers: "here for the first time",
  own_markers: "with a marker of their own",
  results: "day's results",
};

/** What is shown of a proposal, and where each player stands by now. `null`: out. */
export class Teams {
  constructor(proposal, armbands) {
    this.proposal = proposal;
    this.armbands = armbands;
    this.colours = proposal.teams.map((team) => team.colour);
    this.worn = new Map(proposal.teams.flatMap((team) => team.players.map((player) => [player, team.colour])));
    this.first = new Map(this.worn);
  }

  side(colour) {
    const some = [...this.worn].filter(([, worn]) => worn === colour).map(([player]) => player);
    return some.sort((one, other) => this.armbands.get(one) - this.armbands.get(other));
  }

  /** Over to the other side; from out, back to the side that has fewer. */
  over(player) {
    const [one, other] = this.colours;
    const worn = this.worn.get(player);
    const fewer = this.side(one).length <= this.side(other).length ? one : other;
    this.worn.set(player, worn === null ? fewer : worn === one ? other : one);
  }

  out(player) {
    this.worn.set(player, null);
  }

  /** How many stand elsewhere than was proposed. */
  get changed() {
    return [...this.worn].filter(([player, worn]) => worn !== this.first.get(player)).length;
  }

  get entrants() {
    return [...this.worn].filter(([, worn]) => worn !== null).map(([player, colour]) => ({ player, colour }));
  }

  /** Whether a game can be called: both sides have somebody. */
  get whole() {
    return this.colours.every((colour) => this.side(colour).length > 0);
  }

  /** In one sentence, how fair they are. */
  get verdict() {
    const { imbalance, gap, proven } = this.proposal;
    if (this.changed) return `${this.changed} changed by you. Balance as it was proposed: ${imbalance} points apart. What your changes do to it is recorded with the call.`;
    const best = proven ? "no teams of these players are nearer: proven" : gap ? `up to ${gap} points might be saved: time ran out` : "not proven to be the best: time ran out";
    return `${imbalance} points apart; ${best}.`;
  }
}

/** Both sides, and who is out: every player a large button, and a smaller one beside it that takes him out. */
export function sides(teams, act) {
  const columns = teams.colours.map((colour) => column(`${colour}: ${teams.side(colour).length}`, teams.side(colour), teams, act, colour));
  const out = teams.side(null);
  return out.length ? [...columns, column(`out: ${out.length}`, out, teams, act)] : columns;
}

function column(title, players, teams, act, colour) {
  const buttons = players.map((player) => {
    const number = String(teams.armbands.get(player));
    const moved = teams.worn.get(player) !== teams.first.get(player);
    const over = el("button", { type: "button", class: moved ? "over moved" : "over", "data-over": player, "aria-label": colour ? `${number}, ${colour}: over to the other side` : `${number}, out: back in` }, number, moved && el("small", {}, "changed"));
    over.addEventListener("click", () => act("over", player));
    if (!colour) return el("li", {}, over);
    const out = el("button", { type: "button", class: "out", "data-out": player, "aria-label": `${number}: out` }, "✕");
    out.addEventListener("click", () => act("out", player));
    return el("li", {}, over, out);
  });
  return el("section", { class: "side", "data-side": colour ?? "out" }, el("h3", {}, colour && swatch(colour), title), el("ul", {}, ...buttons));
}

/** Each attribute with both sums, as it was proposed. */
export function balance(proposal) {
  const [one, other] = proposal.teams.map((team) => team.colour);
  const rows = proposal.balance.map(({ attribute, sums, difference, points }) =>
    el("tr", {}, el("th", { scope: "row" }, NAMES[attribute]), ...sums.map((sum) => el("td", {}, String(sum.total))), el("td", {}, attribute === "players" ? String(difference) : `${difference} (${points} points)`)),
  );
  const head = el("tr", {}, el("td"), el("th", { scope: "col" }, one), el("th", { scope: "col" }, other), el("th", { scope: "col" }, "apart"));
  return el("table", {}, el("thead", {}, head), el("tbody", {}, ...rows));
}

/** Everything that is not as one would wish, a sentence each. */
export function why(proposal) {
  const said = [
    ...proposal.why,
    ...proposal.of_field.map((reason) => `${reason.sentence} (${reason.where})`),
    ...proposal.split.map((one) => one.sentence),
    ...proposal.waiting.map((one) => one.sentence),
  ];
  return said.map((sentence) => el("li", {}, sentence));
}
