/** The chronograph itself: whether it can be trusted, its chart, a check of it, and work on it. */

import { el } from "../../board/dom.js";
import { chart, words } from "./chart.js";
import { WORKS } from "./keys.js";
import { asRead, readIn } from "./speeds.js";
import { shape } from "./verdict.js";

/** The band across the page, and the chart. */
export function show(of, view, clock) {
  const { trusted, sentence } = view.instrument;
  const band = of("band");
  band.className = trusted ? "trusted" : "doubted";
  band.querySelector(".shape").replaceChildren(shape(trusted ? "trusted" : "doubted"));
  band.querySelector("strong").textContent = trusted ? `${view.chrono} can be trusted.` : `DO NOT TRUST ${view.chrono}.`;
  band.querySelector("p span").textContent = sentence.replace(/^It can be trusted[:.]? ?/, "").replace(/^./, (first) => first.toUpperCase());
  of("chart").replaceChildren(chart(view, clock));
  of("chart-words").textContent = words(view, clock);
  of("legend").textContent = `Dots: checks; hollow, a word or too few shots; a cross, not good. Thick line: their moving mean, dotted its limits. Dashed: limits of one check. Red: ±${asRead(view.bias_limit_fps, view.unit)} ${readIn(view.unit)}, the rule's own.`;
}

/** A check as it is entered: pairs of what the chronograph and the reference read of the same shots. */
export class Check {
  pairs = [];

  add(reading, reference) {
    this.pairs.push([reading, reference]);
  }

  show(of, view) {
    const unit = view.unit;
    const lacking = view.check_readings - this.pairs.length;
    of("pairs").replaceChildren(
      ...this.pairs.map(([reading, reference]) => el("li", {}, `${asRead(reading, unit)} read, ${asRead(reference, unit)} reference: ${off(reading - reference, unit)}`)),
    );
    of("pairs-words").textContent = lacking > 0 ? `${lacking} more, then Enter on an empty line records it. A leaves it.` : "Enter on an empty line records it. A leaves it.";
  }

  body(chrono, good) {
    return { chrono, good, readings_fps: this.pairs.map(([reading]) => reading), reference_fps: this.pairs.map(([, reference]) => reference) };
  }
}

const off = (value, unit) => `${value < 0 ? "−" : "+"}${asRead(Math.abs(value), unit)} ${readIn(unit)}`;

/** The kinds of work, each a button. */
export const works = (chosen) =>
  WORKS.map(([work, name], at) => {
    const button = el("button", { type: "button", "data-work": work }, el("kbd", {}, `W${at + 1}`), ` ${name}`);
    button.addEventListener("click", () => chosen(work));
    return button;
  });
