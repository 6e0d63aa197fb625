/** What the desk asks for and must be answered now: each step under one key until it is done, so that pressing again never does it twice. */

import { Refusal, uuid7 } from "../../page/park.js";
import { freshCode } from "./panels.js";
import { bandOf } from "./party.js";

const opaque = (kind) => `${kind}-${uuid7().replaceAll("-", "").slice(-16)}`;

export class Asking {
  #outbox;
  #steps = new Map();

  constructor(outbox) {
    this.#outbox = outbox;
  }

  /** The step that is about the same as one before is that one. */
  #step(command, about, make) {
    const name = `${command} ${JSON.stringify(about)}`;
    if (!this.#steps.has(name)) this.#steps.set(name, { command, body: make(), key: uuid7(), done: false });
    return this.#steps.get(name);
  }

  async #do(step) {
    if (!step.done) await this.#outbox.ask(step.command, step.body, step.key);
    step.done = true;
    return step.body;
  }

  /** A player is named after his armband here, so one who is recorded already is somebody who wears it. */
  async #worn(armband, step) {
    try {
      return await this.#do(step);
    } catch (error) {
      if (!(error instanceof Refusal) || !error.type.endsWith("/already-recorded") || error.problem.where !== `player:${step.body.player}`) throw error;
      throw new Refusal(error.status, `Armband ${armband} is worn by someone else today. Take another.`, error.type, error.problem);
    }
  }

  /** Ask for one thing by itself; the same again is the same request until it is answered. */
  async once(command, about, make) {
    const body = await this.#do(this.#step(command, about, make));
    this.#steps.clear();
    return body;
  }

  /** A person, his group if that is new, and the player that he is today; returns what was made. Raises a Refusal. */
  async register({ age, part, armband, code, group, size, name }, day) {
    const band = bandOf(age);
    if (group && size) await this.#do(this.#step("registration/register-group", [group, size], () => ({ group, size: Number(size) })));
    const { person } = await this.#do(this.#step("registration/register-person", [band, name], () => ({ person: opaque("person"), age_band: band })));
    const enters = part !== "signer";
    const made = enters && (await this.#worn(armband, this.#step("registration/register-player", [person, part, armband, code, group], () => ({ player: `player-${day}-${armband}`, person, group: group || null, part, day_pass: code || freshCode(), armband: Number(armband) }))));
    const keeping = name && this.#step("vault/keep-detail", [person, name], () => ({ person, entry: opaque("name"), kind: "name", text: name }));
    const unkept = keeping ? await this.#do(keeping).then(() => "", (refusal) => refusal.message) : "";
    this.#steps.clear();
    return { person, age_band: band, player: made ? made.player : null, unkept };
  }
}
