/** What a person does at the bench: each entry, letter or touch, and the buttons that offer it. */

import { el } from "../../board/dom.js";
import { Check, works } from "./instrument.js";
import { meaning, MISREADS } from "./keys.js";
import { Marker } from "./marker.js";
import { readIn } from "./speeds.js";

const TOLD_MS = 6000;
const HINTS = {
  idle: "A scanner types the name and Enter by itself. A letter of a button and Enter does what the button does.",
  open: "Sent readings come by themselves. M2 301: a double trigger at 301.",
  check: "The chronograph's reading, a space, the reference's: both of the same shot.",
};

/** Dispatches "check" when a check is begun, grows, is left or recorded. */
export class Hands extends EventTarget {
  #check = null;
  marker;
  #of;
  #outbox;
  #follower;
  #chrono;
  #choosing = "";
  #told = 0;
  #problem;

  constructor(of, outbox, follower, chrono, problem) {
    super();
    this.#of = of;
    this.#outbox = outbox;
    this.#follower = follower;
    this.#chrono = chrono;
    this.#problem = problem;
    this.marker = new Marker(outbox, chrono);
    of("works").querySelector("div").replaceChildren(...works((work) => this.#touch({ act: "work", work })));
  }

  /** The bench as far as this page knows: the park's last answer, with what was done here since. */
  get view() {
    return this.marker.since(this.#follower.view);
  }

  /** The check that is being entered, if any. */
  get check() {
    return this.#check;
  }

  set check(check) {
    this.#check = check;
    this.dispatchEvent(new Event("check"));
  }

  get #open() {
    const { string } = this.view;
    return string?.ended ? undefined : string;
  }

  /** Something was entered, by keyboard or by a scanner. */
  enter(entry) {
    this.#perform(meaning(entry, { open: Boolean(this.#open), checking: Boolean(this.check), unit: this.view.unit }));
  }

  /** Back to where nothing is half entered. */
  leave() {
    this.check = null;
    this.#choosing = "";
    this.draw();
  }

  #touch(meant) {
    this.#perform(meant);
    this.#of("said").focus();
  }

  #perform(meant) {
    const open = this.#open;
    this.#problem("");
    this.#told = 0;
    if (meant.act !== "M") this.#choosing = "";
    if (this.check && ["M", "T", "R", "S"].includes(meant.act)) this.#tell("A check is being entered. Record it, or leave it with A.");
    else if (["misread", "M", "L", "A"].includes(meant.act) && !open && !this.check) this.#tell("No string is open. Scan a marker first.");
    else this.#acts[meant.act](meant, open);
    this.draw();
  }

  #acts = {
    marker: ({ marker }, open) => {
      this.check = null;
      this.marker.next(marker, open);
    },
    reading: ({ speed }) => this.marker.read(speed),
    misread: ({ kind, speed }) => this.marker.misread(kind, speed),
    M: () => (this.#choosing = this.#choosing === "misread" ? "" : "misread"),
    L: () => (this.check ? this.#tell("Leave the check first, with A.") : this.marker.end(true)),
    A: () => (this.check ? (this.check = null) : this.marker.end(false)),
    T: (_, open) => {
      const subject = open ?? this.view.last;
      if (subject) this.marker.adjusted(subject.marker);
      else this.#tell("No marker was measured here yet. Scan one first.");
    },
    R: (_, open) => {
      if (open) this.#tell("The string is still open: shoot on, or end it with A.");
      else if (this.view.last) this.marker.open(this.view.last.marker);
      else this.#tell("No marker was measured here yet. Scan one first.");
    },
    S: () => {
      this.marker.sealed = !this.marker.sealed;
      this.#tell(this.marker.sealed ? "From the next string on the adjuster is sealed: so tested, a hired marker stays tested until its set-up changes." : "From the next string on nothing is sealed.");
    },
    C: (_, open) => {
      if (open) {
        this.#tell("A string is open, and what is shot now is of its marker. End it first, with A.");
        return;
      }
      this.#of("not-good").checked = false;
      this.check = this.check ? null : new Check();
    },
    W: () => (this.#choosing = "work"),
    work: ({ work }) => {
      this.#outbox.put("velocity/adjust-chrono", { chrono: this.#chrono, work });
      this.#tell("The work is recorded. Check the chronograph against the reference before anything counts.");
    },
    pair: ({ reading, reference }) => {
      this.check.add(reading, reference);
      this.dispatchEvent(new Event("check"));
    },
    enter: () => {
      const good = !this.#of("not-good").checked;
      if (!this.check || (good && this.check.pairs.length === 0)) return;
      this.#outbox.put("velocity/check-chrono", this.check.body(this.#chrono, good));
      this.check = null;
    },
    nothing: ({ why }) => this.#tell(why),
  };

  #tell(sentence) {
    this.#of("hint").textContent = sentence;
    this.#told = performance.now();
  }

  draw() {
    if (!this.#follower.view) return;
    const { view } = this;
    const of = this.#of;
    const open = this.#open;
    of("check").hidden = !this.check;
    of("legend").hidden = Boolean(this.check);
    this.check?.show(of, view);
    of("works").hidden = this.#choosing !== "work";
    const asked = this.check ? `Check: chronograph and reference, ${readIn(view.unit)}` : open ? `Reading in ${readIn(view.unit)}, or the next marker` : "Scan or type the marker";
    of("say").querySelector("label").textContent = asked;
    if (!this.#told || performance.now() - this.#told > TOLD_MS) of("hint").textContent = HINTS[this.check ? "check" : open ? "open" : "idle"];
    const focused = document.activeElement?.dataset?.act;
    of("acts").replaceChildren(...(this.#choosing === "misread" && open ? this.#misreads() : this.#buttons(open, view)));
    of("instrument-acts").replaceChildren(this.#button("check", "C", this.check ? "Leave the check" : "Check it", { pressed: Boolean(this.check) }), this.#button("work", "W", "Work on it …"));
    if (focused) document.querySelector(`[data-act="${focused}"]`)?.focus();
  }

  #buttons(open, view) {
    if (this.check) return [];
    const verdict = view.string || view.last?.set_up_changed ? "" : view.last?.verdict;
    return [
      (open || view.last) && this.#button("adjusted", "T", "Turned: shoot again", { loud: verdict === "turn_down" }),
      !view.string && view.last && this.#button("again", "R", "Not turned: shoot again", { loud: verdict === "inconclusive" }),
      open && this.#button("misread", "M", "Misread …"),
      open && this.#button("low", "L", "Low pressure"),
      open && this.#button("end", "A", "End the string"),
      !open && this.#button("sealed", "S", this.marker.sealed ? "Sealed: yes" : "Sealed: no", { pressed: this.marker.sealed }),
    ].filter(Boolean);
  }

  #misreads() {
    const kinds = MISREADS.map(([kind, name], at) => {
      const button = el("button", { type: "button", "data-misread": kind }, el("kbd", {}, `M${at + 1}`), ` ${name}`);
      button.addEventListener("click", () => this.#touch({ act: "misread", kind, speed: null }));
      return button;
    });
    return [...kinds, this.#button("back", "M", "None: back")];
  }

  #button(name, letter, words, { pressed, loud } = {}) {
    const button = el("button", { type: "button", "data-act": name, class: loud ? "loud" : undefined, "aria-pressed": pressed === undefined ? undefined : String(pressed) }, el("kbd", {}, letter), ` ${words}`);
    button.addEventListener("click", () => this.#touch({ act: letter }));
    return button;
  }
}
