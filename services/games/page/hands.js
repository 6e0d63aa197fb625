/** What each touch records, and what withdraws it. A touch that is repeated at once is one touch. */

import { uuid7 } from "../../page/park.js";

const TWICE_MS = 1000;
const OUT = { eliminated: "out", walked_off: "walked off", injured: "came off injured", sent_off: "sent off" };
export const name = (who) => (who.colour ? `${who.colour} ${who.armband}` : `${who.part ?? "armband"} ${who.armband}`);

export class Hands {
  #outbox;
  #log;
  #view;
  #last = { words: "", at: -Infinity };

  /** `view`: the field as this device knows it. */
  constructor(outbox, log, view) {
    this.#outbox = outbox;
    this.#log = log;
    this.#view = view;
  }

  #again(words) {
    const at = performance.now();
    const twice = words === this.#last.words && at - this.#last.at < TWICE_MS;
    this.#last = { words, at };
    return twice;
  }

  /** Record it; `undo` says, of the key it was sent under, which commands withdraw it. Returns whether it was a touch of its own. */
  #record(words, command, body, undo = () => []) {
    if (this.#again(words)) return false;
    const key = this.#outbox.put(command, body);
    this.#log.add(words, [key], undo(key));
    navigator.vibrate?.(60);
    return true;
  }

  get #game() {
    const view = this.#view();
    return view.playing?.game ?? view.counting.at(-1)?.game;
  }

  #where(more) {
    return { field: this.#view().field, ...(this.#game && { game: this.#game }), ...more };
  }

  stop(everywhere) {
    const { field, title } = this.#view();
    const body = { hold: `hold-${uuid7()}`, cause: "other", ...(everywhere ? {} : { field }) };
    return this.#record(everywhere ? "STOP all fields" : `STOP ${title}`, "games/ask-hold", body);
  }

  confirm() {
    const { field, holds } = this.#view();
    for (const { hold } of holds.filter((one) => !one.confirmed_at)) this.#record(`Stopped, covers on (${hold.slice(-4)})`, "games/confirm-hold", { hold, field });
  }

  resume() {
    const { field, holds } = this.#view();
    for (const { hold } of holds) this.#record(`Swept, resumed (${hold.slice(-4)})`, "games/lift-hold", { hold, field, swept: true });
  }

  aid(place) {
    const call = `aid-${uuid7()}`;
    const words = `First aid ${place === "gate" ? "to the gate" : "on the field"}`;
    return this.#record(words, "games/call-first-aid", { call, field: this.#view().field, place }, () => [["games/answer-first-aid", { call, came: false }]]);
  }

  came() {
    for (const { call } of this.#view().aid) this.#record(`First aider is here (${call.slice(-4)})`, "games/answer-first-aid", { call });
  }

  brief() {
    return this.#record("Briefed", "games/brief-game", { game: this.#view().gathered.game });
  }

  out(who, cause) {
    const { player } = who;
    return this.#record(`${name(who)} ${OUT[cause]}`, "games/record-out", this.#where({ player, cause }), (key) => [["games/void-out", { player, out: key }]]);
  }

  caution(violation, whom) {
    const caution = `caution-${uuid7()}`;
    const about = whom.player ? { player: whom.player, colour: whom.colour, armband: whom.armband } : whom;
    return this.#record(`Caution ${name(whom)}: ${violation.title}`, "discipline/caution", this.#where({ caution, violation: violation.code, ...about }), () => [["discipline/void-caution", { caution, cause: "entered_in_error" }]]);
  }

  paint(who, finding) {
    const { player } = who;
    const check = `paint-${uuid7()}`;
    const seen = finding === "hit" ? "hit" : "clean";
    return this.#record(`Paint check ${name(who)}: ${seen}`, "games/check-paint", this.#where({ check, player, finding }), () => [["games/void-paint-check", { check, player }]]);
  }

  spot(who, speed_fps) {
    const { player, marker } = who;
    const check = `spot-${uuid7()}`;
    return this.#record(`Spot check ${name(who)}: ${Math.round(speed_fps * 10) / 10} ft/s`, "velocity/spot-check-marker", this.#where({ check, marker, player, speed_fps }), () => [["velocity/void-spot-check", { check, marker }]]);
  }

  swap(who, marker) {
    const { player, marker: returned } = who;
    const back = { player, returned: marker, marker: returned };
    return this.#record(`Swap ${name(who)}: ${returned} for ${marker}`, "equipment/swap-marker", { player, returned, marker }, () => [["equipment/swap-marker", back]]);
  }

  end(winner) {
    return this.#record(winner ? `End: ${winner} won` : "End: nobody won", "games/end-game", { game: this.#view().playing.game, ...(winner && { winner }) });
  }

  abandon(cause) {
    const { playing, gathered } = this.#view();
    return this.#record("Game given up", "games/abandon-game", { game: (playing ?? gathered).game, cause });
  }

  count(game, counted) {
    return this.#record(`Counted ${counted}`, "games/count-heads", { game, counted });
  }

  sweep(game, search_open) {
    return this.#record(search_open ? "Field walked, search goes on" : "Field walked and empty", "games/sweep-field", { game, search_open });
  }

  found(game, who, place) {
    return this.#record(`Found ${name(who)}`, "games/find-player", { game, player: who.player, place });
  }

  /** Withdraw the newest that can be. Whatever was recorded stays on the record, and so does its withdrawal. */
  undo() {
    const entry = this.#log.undoable(this.#view().undo_minutes);
    if (!entry || this.#again("undo")) return;
    const keys = entry.undo.map(([command, body]) => this.#outbox.put(command, body));
    this.#log.undone(entry);
    this.#log.add(`Undone: ${entry.words}`, keys);
    navigator.vibrate?.([40, 60, 40]);
  }
}
