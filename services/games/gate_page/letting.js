/** Letting somebody in: asked of the park while it answers, recorded as a fact while it does not; and what the record says of that later. */

import { el } from "../../board/dom.js";
import { kept, Refusal, save } from "../../page/park.js";

const ENTRY = "games/record-entry";
const LATE = "gate late";

export class Letting {
  #outbox;
  #field;

  constructor(outbox, field) {
    this.#outbox = outbox;
    this.#field = field;
  }

  /** When this gate let somebody in of whom no answer of the park tells yet; undefined if it did not. */
  since(player) {
    return this.#outbox.unseen.findLast((one) => one.command === ENTRY && one.body.player === player)?.body.occurred_at;
  }

  /** Asks for his admission; returns what stands against it. Raises a Refusal that is passing where nobody knows. */
  async ask(shown, game) {
    try {
      await this.#outbox.ask("games/admit-player", { player: shown.player, field: this.#field, game: shown.part === "player" ? game?.game : undefined }, shown.asked);
      return [];
    } catch (error) {
      if (!(error instanceof Refusal) || error.passing || error.status === 401) throw error;
      return error.problem.refusal?.reasons ?? [{ sentence: error.message, where: "staging" }];
    }
  }

  record(shown, list) {
    const game = shown.part === "player" ? list.game?.game : undefined;
    this.#outbox.put(ENTRY, { player: shown.player, field: this.#field, game, knew: shown.knew, answer: shown.cleared ? "cleared" : "not_cleared" });
  }

  /** The park has answered, before or after its list shows it: what it holds against an entry is kept until somebody has seen to it. */
  answered({ command, key, receipt }) {
    const told = command === ENTRY ? receipt.events[0].data : null;
    if (told && (told.stale || told.reasons.length)) this.#keep(key, told.player, told.field, told.reasons.length ? told.reasons : [{ sentence: "What the gate knew was too old.", where: "the gate: ask anew" }]);
  }

  /** The park took it for no fact of its own, so it is on no record but this. */
  refused({ asked, message }) {
    if (asked?.command === ENTRY) this.#keep(asked.key, asked.body.player, asked.body.field, [{ sentence: `Not recorded: ${message}`, where: "staging: write it down" }]);
  }

  #keep(key, player, field, reasons) {
    const late = kept(LATE, []);
    if (!late.some((one) => one.key === key)) save(LATE, [...late, { key, player, field, reasons }]);
  }

  /** Fills the alarm, each entry with a button that ends it. `called` says how a player is seen from afar. */
  show(section, called) {
    const late = kept(LATE, []);
    section.hidden = late.length === 0;
    section.replaceChildren(
      ...late.map((one) => {
        const done = el("button", { type: "button", "data-seen": one.key }, "Seen to");
        done.addEventListener("click", () => {
          save(LATE, kept(LATE, []).filter((other) => other.key !== one.key));
          this.show(section, called);
        });
        const why = one.reasons.map(({ sentence, where }) => el("li", {}, `${sentence} → ${where}`));
        return el("div", {}, el("div", {}, el("strong", {}, `⚠ ${called(one.player)} is on the field and NOT CLEARED.`), " Let in without the network. Take off the field.", el("ul", {}, ...why)), done);
      }),
    );
  }
}
