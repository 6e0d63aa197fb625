/** What counts only if it is answered now: the start of a game, and who is let in. Nobody is admitted on what a device remembers. */

import { el } from "../../board/dom.js";
import { Refusal, whoShows } from "../../page/park.js";
import { name } from "./hands.js";

const UNKNOWN = "The park could not be reached, so nobody is known to be admitted. Wait until the page is live and look at the field's state before you ask again.";

export class Starting {
  #outbox;
  #sheet;
  #view;
  #tell;
  #busy = false;

  constructor(outbox, sheet, view, tell) {
    this.#outbox = outbox;
    this.#sheet = sheet;
    this.#view = view;
    this.#tell = tell;
  }

  /** Start the game that is called; `without` whom an answer named. */
  async start(without = []) {
    const { game, people } = this.#view().gathered;
    const problem = await this.#ask("games/start-game", { game, without });
    if (problem) this.#offenders(problem, people, without);
  }

  async #ask(command, body) {
    if (this.#busy) return null;
    if (this.#outbox.waiting.length > 0) {
      this.#tell("What you touched before is not sent yet. Nobody is admitted until it is.");
      return null;
    }
    this.#busy = true;
    this.#tell("");
    try {
      await this.#outbox.ask(command, body);
      this.#sheet.close();
      return null;
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      if (error.problem.refusal) return error.problem.refusal;
      this.#tell(error.passing ? UNKNOWN : error.message);
      return null;
    } finally {
      this.#busy = false;
    }
  }

  /** Everybody who is not cleared, with every reason, and one touch that starts without them. */
  #offenders({ reasons, offenders }, people, without) {
    const known = new Map(people.map((one) => [one.player, one]));
    const said = (one) => el("li", {}, one.sentence, " ", el("small", {}, `Cleared at: ${one.where}.`));
    const named = offenders.map((one) => el("li", {}, el("strong", {}, known.has(one.player) ? name(known.get(one.player)) : one.player), el("ul", {}, ...one.reasons.map(said))));
    const go = el("button", { type: "button", class: "loud wide", "data-choice": "without" }, `Start without ${offenders.length === 1 ? "this one" : `these ${offenders.length}`}`);
    go.addEventListener("click", () => this.start([...without, ...offenders.map((one) => one.player)]));
    const left = people.length - without.length - offenders.length;
    this.#sheet.show("Not started", "Nobody was admitted.");
    if (reasons.length > 0) this.#sheet.add(el("h3", {}, "The field"), el("ul", { class: "reasons" }, ...reasons.map(said)));
    if (offenders.length > 0) this.#sheet.add(el("h3", {}, "Not cleared"), el("ul", { class: "reasons" }, ...named));
    if (offenders.length > 0 && left > 0 && reasons.length === 0) this.#sheet.add(go);
  }

  /** Who comes back, or comes late, into a game whose list stays open. */
  letIn() {
    const { playing } = this.#view();
    const colours = [...new Set(playing.people.map((one) => one.colour).filter(Boolean))];
    const input = el("input", { id: "typed", inputmode: "numeric", pattern: "[0-9]{1,4}", maxlength: 4, autocomplete: "off" });
    const buttons = colours.map((colour) => {
      const button = el("button", { type: "button", "data-choice": colour }, colour);
      button.addEventListener("click", () => this.#lateComer(input.value.trim(), colour, playing.game));
      return button;
    });
    this.#sheet.show("Let in: who?", "Look first: mask on, barrel covered, sober.");
    const back = playing.people.filter((one) => one.off && one.part === "player");
    this.#sheet.add(...this.#sheet.people(back, (who) => this.#admit(who.player, who.colour, playing.game)));
    this.#sheet.add(el("div", { class: "typing" }, el("label", { for: "typed" }, "Not listed? Number, then colour"), input), el("div", { class: "choices" }, ...buttons));
  }

  async #lateComer(armband, colour, game) {
    if (!/^[0-9]{1,4}$/.test(armband)) {
      this.#sheet.hint("Type the number on the armband first, then touch the colour.");
      return;
    }
    try {
      const { player } = await whoShows({ armband });
      await this.#admit(player, colour, game);
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      this.#sheet.hint(error.passing ? UNKNOWN : error.message);
    }
  }

  async #admit(player, colour, game) {
    const { field } = this.#view();
    const refusal = await this.#ask("games/admit-player", { player, field, game, ...(colour && { colour }) });
    if (refusal) this.#sheet.hint(`Not let in. ${refusal.reasons.map((one) => `${one.sentence} (${one.where})`).join(" ")}`);
  }
}
