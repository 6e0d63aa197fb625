/** What if: events ticked in the timeline are left out, and the day is decided anew. Nothing is written. */

import { el } from "../board/dom.js";
import { post } from "./ask.js";

const of = (id) => document.getElementById(id);

export class WhatIf {
  constructor() {
    this.positions = new Set();
    of("clear").onclick = () => this.clear();
  }

  over(player) {
    this.player = player;
    this.clear();
  }

  clear() {
    this.positions.clear();
    of("otherwise").replaceChildren();
    this.restore();
  }

  tick(position, ticked) {
    if (ticked) this.positions.add(position);
    else this.positions.delete(position);
    of("otherwise").replaceChildren();
    this.restore();
  }

  /** Have the boxes say what is left out, also after the timeline was shown anew. */
  restore() {
    for (const box of document.querySelectorAll("#timeline input[data-position]")) {
      box.checked = this.positions.has(Number(box.dataset.position));
      box.closest("li").classList.toggle("left-out", box.checked);
    }
    of("ask").disabled = of("clear").disabled = this.positions.size === 0;
  }

  async ask() {
    const answer = await post("/audit/what-if", { void: [...this.positions].sort((one, other) => one - other) });
    const changes = [...answer.decisions, ...answer.consequences].sort((one, other) => one.position - other.position);
    of("otherwise").replaceChildren(
      el("p", { class: "none" }, changes.length ? `${changes.length} would have been otherwise:` : "Nothing would have been decided otherwise."),
      el("ul", {}, ...changes.map((change) => el("li", { "data-position": String(change.position) }, `${change.sentence} (position ${change.position})`))),
      el("p", { class: "small" }, answer.note),
    );
  }
}
