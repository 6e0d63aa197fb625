/** The forms of the desk: each says what it asks, and what it records. A fact waits for the network; what is asked for needs it. */

import { el } from "../../board/dom.js";
import { uuid7 } from "../../page/park.js";
import { aged } from "./party.js";

const ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";
const CODE = { maxlength: 64, pattern: "[A-Za-z0-9][A-Za-z0-9._\\-]*", title: "Letters, digits, dots, dashes and underscores; no space" };
const FAULTS = [["lost", "lost"], ["damaged", "damaged"], ["misprinted", "misprinted"], ["shared", "given to somebody else"]];
const PURPOSES = [["entry", "entry"], ["entry_deposit", "deposit on the entry"], ["hire", "hire"], ["hire_deposit", "deposit on hired gear"], ["paint", "paint"], ["air", "air"]];
const MEANS = [["card", "card"], ["cash", "cash"], ["voucher", "voucher"], ["account", "group's account"], ["transfer", "bank transfer"]];
const PARTS = [["player", "player"], ["referee", "referee"], ["photographer", "photographer"], ["chaperone", "chaperone"], ["signer", "adult who only signs, and stays outside"]];

/** Eight letters and digits that nobody mistakes for one another, at random. */
export function freshCode() {
  const drawn = crypto.getRandomValues(new Uint8Array(8));
  const code = [...drawn].map((byte) => ALPHABET[byte & 31]).join("");
  return `${code.slice(0, 4)}-${code.slice(4)}`;
}

const lacks = (card, ...codes) => card.reasons.some((reason) => codes.includes(reason.code));
const some = (name, label, cards, party, checked) => ({ kind: "people", name, label, options: cards.map((card) => [card.player, party.called(card), checked(card)]) });

/** Each panel by its letter: `title`, `fields(party, view, about)`, `record(values, desk)`. `about` is the card that it was opened for, if any. */
export const PANELS = {
  N: {
    title: "Register somebody",
    button: "Register",
    fields: (party, view, about) => [
      { kind: "number", name: "age", label: "Age in years (its band is kept)", maxlength: 3, required: true },
      { kind: "select", name: "part", label: "Comes as", options: PARTS },
      { kind: "number", name: "armband", label: "Armband number", maxlength: 4 },
      { kind: "text", name: "name", label: "Name, sealed in the vault (may stay empty)", maxlength: 200 },
      { kind: "text", name: "code", label: "Pass: scan a blank one, or leave it empty for a new code", ...CODE },
      { kind: "text", name: "group", label: "Group, if they came as one", ...CODE, value: about?.group ?? party.cards.at(-1)?.group ?? "" },
      { kind: "number", name: "size", label: "How many, if the group is new", maxlength: 3 },
    ],
    record: (values, desk) => desk.register(values),
  },
  W: {
    title: (view) => `Signed the waiver in wording ${view.waiver}`,
    button: "They have signed",
    fields: (party, view, about) => [some("players", "Who has signed, each for himself?", party.cards, party, (card) => (about ? card.player === about.player : lacks(card, "waiver_missing", "waiver_old_version", "waiver_expired")))],
    record: (values, desk) => {
      for (const card of desk.cardsOf(values.players)) desk.put("registration/sign-waiver", { person: card.person, wording: desk.view.waiver });
    },
  },
  G: {
    title: (view) => `A guardian consents for one child, in wording ${view.waiver}`,
    button: "This guardian has consented",
    empty: (party) => (!party.cards.some((card) => card.minor) ? "No minor is on the list." : party.adults.length === 0 ? "No adult is on the list: register the guardian, as an adult who only signs if he stays outside, or scan his pass." : ""),
    fields: (party, view, about) => [
      { kind: "select", name: "child", label: "The child", options: party.cards.filter((card) => card.minor).map((card) => [card.person, party.called(card)]), value: about?.person ?? party.cards.find((card) => card.minor && lacks(card, "consent_missing", "guardian_gone"))?.person },
      { kind: "select", name: "guardian", label: "Its own guardian, who has signed", options: party.adults },
      { kind: "select", name: "relationship", label: "Who is the child's", options: [["", "choose …"], ["parent", "parent"], ["legal_guardian", "legal guardian"]], required: true },
      { kind: "select", name: "responsible", label: "Who answers for the child here", options: [["", "the guardian, who stays on site"], ...party.adults] },
    ],
    note: "A host, a teacher or a friend cannot sign for somebody else's child.",
    record: (values, desk) => {
      const responsible = values.responsible && values.responsible !== values.guardian ? values.responsible : null;
      desk.put("registration/give-consent", { person: values.child, guardian: values.guardian, relationship: values.relationship, wording: desk.view.waiver, on_site: responsible === null, responsible });
    },
  },
  P: {
    title: "The till has taken",
    button: "It is paid",
    fields: (party, view, about) => [
      some("players", "For whom?", party.cards, party, (card) => (about ? card.player === about.player : lacks(card, "entry_unpaid", "entry_voided"))),
      { kind: "select", name: "purpose", label: "What for", options: PURPOSES },
      { kind: "select", name: "means", label: "How", options: MEANS },
      { kind: "text", name: "amount", label: `Amount of all of it, in ${view.currency}`, inputmode: "decimal", required: true, maxlength: 12 },
    ],
    record: (values, desk) => desk.put("registration/record-payment", { payment: `till-${uuid7()}`, players: values.players, purpose: values.purpose, means: values.means, amount_minor: minor(values.amount, desk.view.currency) }),
  },
  B: {
    title: (view) => `Heard the safety briefing, version ${view.briefing}`,
    button: "They have heard it",
    fields: (party, view, about) => [some("players", "Who has heard it, whole?", party.cards, party, (card) => (about ? card.player === about.player : lacks(card, "briefing_missing", "briefing_outdated")))],
    record: (values, desk) => desk.put("registration/hold-briefing", { briefing: `briefing-${uuid7()}`, version: desk.view.briefing, players: values.players }),
  },
  R: {
    title: "Give a new pass; the old one names nobody any more",
    button: "Give a new pass",
    fields: (party, view, about) => [
      { kind: "select", name: "player", label: "Whose", options: party.cards.map((card) => [card.player, party.called(card)]), value: about?.player },
      { kind: "select", name: "fault", label: "What became of the old one", options: FAULTS },
      { kind: "text", name: "code", label: "Pass: scan a blank one, or leave it empty for a new code", ...CODE },
    ],
    record: (values, desk) => desk.reissue(values),
  },
};

/** An amount as it is typed, in the currency's minor unit; throws a sentence where it is none. */
export function minor(typed, currency) {
  const digits = new Intl.NumberFormat("en", { style: "currency", currency }).resolvedOptions().maximumFractionDigits;
  const told = typed.trim().replace(",", ".");
  const whole = /^(\d{1,7})(?:\.(\d+))?$/.exec(told);
  const rest = whole?.[2] ?? "";
  if (!whole || rest.length > digits || Number(told) === 0) throw new Error(`${typed} is no amount. Type it such as ${(29).toFixed(digits)}.`);
  return Number(whole[1] + rest.padEnd(digits, "0"));
}

/** One control with its label. */
export function control({ kind, name, label, options = [], value, ...rest }) {
  if (kind === "people") {
    const boxes = options.map(([player, called, checked]) => el("label", { class: "box" }, el("input", { type: "checkbox", name, value: player, checked }), ` ${called}`));
    return el("fieldset", {}, el("legend", {}, label), ...boxes);
  }
  const id = `panel-${name}`;
  const made = kind === "select" ? el("select", { id, name, ...rest }, ...options.map(([one, words]) => el("option", { value: one, selected: one === value }, words))) : el("input", { id, name, type: "text", value, inputmode: kind === "number" ? "numeric" : undefined, spellcheck: "false", ...rest, ...(kind === "number" ? { pattern: "[0-9]{1,4}", title: "A whole number" } : {}) });
  return el("p", {}, el("label", { for: id }, label), made);
}
