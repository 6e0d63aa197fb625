/** The second and third touches: sheets with what a first touch still asks for. STOP stays in reach beneath every one of them. */

import { el } from "../../board/dom.js";
import { name } from "./hands.js";

const CAUSES = [["weather", "weather"], ["injury", "injury"], ["mask_off", "a mask is off"], ["intruder", "intruder"], ["equipment", "equipment"], ["fire", "fire"], ["other", "something else"]];
const OUTS = [["eliminated", "out"], ["walked_off", "walked off"], ["injured", "injured"], ["sent_off", "sent off"]];
const PLACES = [["field", "on the field"], ["staging", "staging"], ["desk", "desk"], ["gear", "gear"], ["first_aid", "first aid"], ["car_park", "car park"], ["off_site", "off the park"]];
const FPS = { fps: 1, mps: 1 / 0.3048, joules: 1 };
const NUMBER = /^[0-9]{1,4}$/;
const FASTEST = 2000;
const UNIT = { fps: "ft/s", mps: "m/s", joules: "ft/s" };

/** One sheet at a time. Digits that are typed pick whoever wears the number, with Enter. */
export class Sheet {
  #of;
  #typed = "";
  #pick = null;
  #before = null;

  constructor(of) {
    this.#of = of;
    of("back").addEventListener("click", () => this.close());
  }

  get open() {
    return !this.#of("sheet").hidden;
  }

  show(title, hint, ...parts) {
    if (!this.open) this.#before = document.activeElement;
    this.#typed = "";
    this.#pick = null;
    this.#of("sheet-title").textContent = title;
    this.hint(hint);
    this.#of("sheet-body").replaceChildren(...parts);
    this.#of("sheet-body").scrollTop = 0;
    this.#of("sheet").hidden = false;
    (this.#of("sheet-body").querySelector("input") ?? this.#of("back")).focus({ preventScroll: true });
  }

  add(...parts) {
    this.#of("sheet-body").append(...parts);
  }

  close() {
    if (!this.open) return;
    this.#of("sheet").hidden = true;
    this.#of("sheet-body").replaceChildren();
    this.#before?.focus?.({ preventScroll: true });
  }

  hint(words) {
    this.#of("sheet-hint").textContent = words;
  }

  /** Everybody by colour and number; `pick` is called with whom a touch or a typed number names. */
  people(people, pick) {
    this.#pick = { people, pick };
    const colours = [...new Set(people.map((one) => one.colour ?? ""))];
    return colours.map((colour) =>
      el("div", { class: "people" }, el("h3", {}, el("i", { class: `band ${colour || "none"}`, "aria-hidden": "true" }), colour || "no colour"), el("div", { class: "grid" }, ...people.filter((one) => (one.colour ?? "") === colour).map((one) => this.#person(one, pick)))),
    );
  }

  #person(one, pick) {
    const button = el("button", { type: "button", "data-player": one.player, class: `${one.colour ?? "none"}${one.off ? " off" : ""}`, "aria-label": `${name(one)}${one.off ? ", off" : ""}` }, String(one.armband), one.off && el("small", {}, "off"));
    button.addEventListener("click", () => pick(one));
    return button;
  }

  /** A key while a sheet of people is open and nothing is being typed elsewhere. */
  key(key) {
    if (!this.#pick) return false;
    if (/^[0-9]$/.test(key)) this.#typed += key;
    else if (key === "Backspace") this.#typed = this.#typed.slice(0, -1);
    else if (key === "Enter" && this.#typed) {
      const named = this.#pick.people.filter((one) => String(one.armband) === this.#typed);
      this.#typed = "";
      if (named.length === 1) this.#pick.pick(named[0]);
      else this.hint(named.length ? "Two wear that number: touch the one you mean." : "Nobody here wears that number.");
      return true;
    } else return false;
    this.hint(this.#typed ? `Number ${this.#typed}: Enter.` : "");
    return true;
  }
}

const choice = (label, touched, attributes = {}) => {
  const button = el("button", { type: "button", ...attributes }, label);
  button.addEventListener("click", touched);
  return button;
};
const choices = (all, touched) => el("div", { class: "choices" }, ...all.map(([value, label]) => choice(label, () => touched(value), { "data-choice": value })));

/** A field to type into, and the touch that ends it; `done` is given what was typed, as it stands: a browser's own complaint would hang over STOP. */
function typing(label, attributes, button, done) {
  const input = el("input", { id: "typed", autocomplete: "off", autocapitalize: "off", spellcheck: "false", enterkeyhint: "done", ...attributes });
  const form = el("form", { class: "typing", novalidate: true }, el("label", { for: "typed" }, label), input, button && el("button", { class: "loud" }, button));
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    done(input.value.trim());
  });
  return { form, input };
}

/** What each first touch opens; `hands` records, `sheet` shows, `view` is the field as this device knows it. */
export function sheets(sheet, hands, view) {
  const players = () => (view().playing ?? view().counting.at(-1))?.people.filter((one) => one.part !== "referee") ?? [];
  const done = (recorded) => {
    if (recorded !== false) sheet.close();
  };

  const out = (first) => {
    let cause = first;
    const kinds = el("div", { class: "kinds", role: "radiogroup", "aria-label": "How" });
    const draw = () =>
      kinds.replaceChildren(...OUTS.map(([value, label]) => choice(label, () => { cause = value; draw(); }, { role: "radio", "aria-checked": String(value === cause), "data-choice": value })));
    draw();
    sheet.show("Who is off the field?", "Nobody waits for this: eyes on the players.", kinds);
    sheet.add(...sheet.people(players(), (who) => done(hands.out(who, cause))));
  };

  return {
    out: () => out("eliminated"),
    walk: () => out("walked_off"),
    caution: () => {
      const whom = (violation) => {
        const unlisted = typing("Not listed? Number, then colour", { inputmode: "numeric", maxlength: 4, "data-unfocused": "" }, "", () => sheet.hint("Now touch the colour that he wears."));
        const colours = [...new Set(players().map((one) => one.colour).filter(Boolean))];
        const nameless = (colour) => {
          const armband = unlisted.input.value.trim();
          if (NUMBER.test(armband) && Number(armband) > 0) done(hands.caution(violation, { colour, armband: Number(armband) }));
          else sheet.hint("Type the armband's number first, in digits, then touch the colour.");
        };
        sheet.show(violation.title, "Who? Staging is asked about a number that is on no list.");
        sheet.add(...sheet.people(players(), (who) => done(hands.caution(violation, who))), unlisted.form, choices(colours.map((one) => [one, one]), nameless));
      };
      const weights = ["note", "1", "2"];
      const gravest = [...view().violations].sort((one, other) => (one.weight === 0) - (other.weight === 0));
      const listed = gravest.map((one) => [one, el("span", {}, one.title, el("small", {}, one.weight ? `weighs ${weights[one.weight]}` : "a note, no caution"))]);
      sheet.show("Caution: for what?", "Asking for help is never a violation.", el("div", { class: "choices many" }, ...listed.map(([one, label]) => choice(label, () => whom(one), { "data-violation": one.code }))));
    },
    paint: () => {
      const finding = (who) => sheet.show(`Paint on ${name(who)}?`, "A hit is a ball that broke on him. It puts nobody out by itself.", choices([["clean", "Clean"], ["hit", "Hit"]], (value) => done(hands.paint(who, value))));
      sheet.show("Paint check: whom?", "Masks stay on while you look.");
      sheet.add(...sheet.people(players(), finding));
    },
    spot: () => {
      const speed = (who) => {
        if (!who.marker) {
          sheet.hint(`Of ${name(who)} no single marker is known. Take it to the chronograph.`);
          return;
        }
        const { unit, limit } = view();
        const { form } = typing(`Reading in ${UNIT[unit]}`, { inputmode: "decimal" }, "Record", (typed) => {
          const fps = Number(typed.replace(",", ".")) * FPS[unit];
          if (fps > 0 && fps <= FASTEST) done(hands.spot(who, fps));
          else sheet.hint(fps > FASTEST ? "No shot is as fast as that. Type what the chronograph showed." : "That is no speed. Type what the chronograph showed, in digits.");
        });
        sheet.show(`${name(who)}, marker ${who.marker}`, `Bench limit ${limit}. At it or over: cover on, off the field, retest.`, form);
      };
      sheet.show("Spot check: whose marker?", "");
      sheet.add(...sheet.people(players(), speed));
    },
    swap: () => {
      const { form, input } = typing("The other marker: scan or type it", { maxlength: 64 });
      sheet.show("Swap marker", "Scan or type the marker he gets, then touch who gets it.", form);
      sheet.add(...sheet.people(players(), (who) => {
        const marker = input.value.trim();
        if (!/^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$/.test(marker)) sheet.hint("First the marker that he gets: scan or type it.");
        else if (!who.marker) sheet.hint(`Of ${name(who)} no single marker is known. The gear counter swaps it.`);
        else done(hands.swap(who, marker));
      }));
    },
    end: () => {
      const colours = [...new Set(players().map((one) => one.colour).filter(Boolean))];
      sheet.show("The game is over", "Who won?", choices([...colours.map((one) => [one, `${one} won`]), ["", "Nobody won"]], (winner) => done(hands.end(winner))));
    },
    abandon: () => sheet.show("Give up the game: why?", "It serves nobody's sit-out. Where it was live, heads are counted.", choices(CAUSES, (cause) => done(hands.abandon(cause)))),
    count: () => {
      const { game } = view().counting.find((one) => !one.search_open) ?? view().counting[0];
      const { form } = typing("Heads that came off the field", { inputmode: "numeric", maxlength: 4 }, "Record", (typed) => {
        if (NUMBER.test(typed)) done(hands.count(game, Number(typed)));
        else sheet.hint("Type how many heads you counted, in digits; 0 if nobody came off.");
      });
      sheet.show("Count heads", "Count them with your own eyes, everybody: players, photographers, chaperones.", form);
    },
    sweep: () => {
      const one = view().counting.find((other) => !other.search_open) ?? view().counting[0];
      const nobody = one.counted !== undefined && one.missing.length === 0;
      const settled = nobody ? [["no", "I walked it all: empty, nobody is missing"]] : [];
      sheet.show("You sign that the field is empty", nobody ? "" : "Whoever is missing is searched for elsewhere until found.", choices([...settled, ["yes", "I walked it all: empty, and the search goes on"]], (open) => done(hands.sweep(one.game, open === "yes"))));
    },
    found: () => {
      const one = view().counting.find((other) => other.missing.length > 0);
      const place = (who) => sheet.show(`${name(who)}: where?`, "", choices(PLACES, (value) => done(hands.found(one.game, who, value))));
      sheet.show("Who stands before you?", "Name him only when you see him.");
      sheet.add(...sheet.people(one.missing, place));
    },
    resume: () => sheet.show("Resume play?", "Masks on, everybody ready, nobody between the teams.", choices([["yes", "I have swept the field: resume"]], () => { hands.resume(); sheet.close(); })),
  };
}
