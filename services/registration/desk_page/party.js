/** Who stands at the desk: the players on the list, whoever only signs, and what has been recorded here that the park does not show yet. */

import { kept, save } from "../../page/park.js";

const LIST = "desk list";
const SIGNERS = "desk signers";
const MOST = 40;

/** What a fact that was recorded here takes care of: the reasons' codes, and whom it is about. */
const SETTLES = {
  "registration/sign-waiver": [["waiver_missing", "waiver_old_version", "waiver_expired"], (body, card) => body.person === card.person],
  "registration/give-consent": [["consent_missing", "guardian_gone"], (body, card) => body.person === card.person],
  "registration/record-payment": [["entry_unpaid", "entry_voided"], (body, card) => body.purpose.startsWith("entry") && body.players.includes(card.player)],
  "registration/hold-briefing": [["briefing_missing", "briefing_outdated"], (body, card) => body.players.includes(card.player)],
};

const AGES = [18, 16, 14, 12, 10, 8, 0];

const OLDEST = 120;

/** The band of an age in years; throws a sentence where it is none. */
export function bandOf(age) {
  if (!/^\d+$/.test(age) || Number(age) > OLDEST) throw new Error(`${age || "That"} is no age. Type it in years.`);
  return AGES.find((from) => Number(age) >= from);
}

/** An age band in words: 12 is "12 to 13". */
export function aged(band) {
  if (band === 18) return "18 and over";
  if (band === 0) return "under 8";
  return `${band} to ${AGES[AGES.indexOf(band) - 1] - 1}`;
}

export class Party {
  #outbox;
  #follower;
  /** Names as they were typed or found here: in this page's memory and nowhere else. */
  names = new Map();

  constructor(outbox, follower) {
    this.#outbox = outbox;
    this.#follower = follower;
  }

  get players() {
    return kept(LIST, []);
  }

  /** Adults who sign for a child and do not enter: `{person, age_band}`. */
  get signers() {
    return kept(SIGNERS, []);
  }

  add(player) {
    save(LIST, [...this.players.filter((one) => one !== player), player].slice(-MOST));
  }

  drop(player) {
    save(LIST, this.players.filter((one) => one !== player));
  }

  addSigner(signer) {
    save(SIGNERS, [...this.signers, signer]);
  }

  clear() {
    save(LIST, []);
    save(SIGNERS, []);
    this.names.clear();
  }

  /** Each player's card as far as this page knows: the park's last answer, without what was settled here since. */
  get cards() {
    const told = new Map((this.#follower.view?.players ?? []).map((card) => [card.player, card]));
    return this.players.flatMap((player) => (told.has(player) ? [this.#since(told.get(player))] : []));
  }

  #since(card) {
    const settled = new Set();
    for (const { command, body } of this.#outbox.unseen) {
      const [codes, about] = SETTLES[command] ?? [[], () => false];
      if (about(body, card)) for (const code of codes) settled.add(code);
    }
    const reasons = card.reasons.filter((reason) => !settled.has(reason.code));
    const pending = card.reasons.filter((reason) => settled.has(reason.code));
    return { ...card, reasons, pending, cleared: card.cleared && this.#follower.live };
  }

  /** Who is of age here, to sign for a child: players and those who only sign, each with how to call him. */
  get adults() {
    const majority = this.#follower.view?.majority_years ?? 18;
    const here = this.cards.filter((card) => !card.minor).map((card) => [card.person, this.called(card)]);
    const outside = this.signers.filter((one) => one.age_band >= majority).map((one) => [one.person, this.names.get(one.person) ?? `adult ${one.person.slice(-4)}, signs only`]);
    return [...here, ...outside];
  }

  called(card) {
    const name = this.names.get(card.person);
    return name ? `${card.armband} · ${name}` : `armband ${card.armband}, ${aged(card.age_band)}`;
  }
}
