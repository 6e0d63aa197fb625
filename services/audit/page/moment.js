/** A moment of the day on either axis: what the gate knew by then, and what is known now to have been so. */

import { el } from "../board/dom.js";
import { get, Refusal } from "./ask.js";
import { clock, verdict } from "./timeline.js";

const of = (id) => document.getElementById(id);
const MINUTE = 60_000;
const PAUSE = 250;

export class Moment {
  /** `moved()` is called when the moment, the axis or the field was changed by hand. */
  constructor(moved) {
    this.moved = moved;
    this.asked = 0;
  }

  get axis() {
    return document.querySelector("[name=axis]:checked").value;
  }

  get at() {
    return Number(of("moment-at").value) * MINUTE;
  }

  /** The slider runs over all that the story holds, and stands where the gate last refused him, or else at its last event. */
  over(story, player) {
    this.player = player;
    this.local = clock(story.time_zone, { hour: "2-digit", minute: "2-digit" });
    const stamps = story.events.flatMap((event) => [Date.parse(event.recorded_at), Date.parse(event.occurred_at)]);
    const refused = story.events.filter(({ type, decision }) => type.startsWith("games.") && decision && !decision.granted).at(-1);
    const slider = of("moment-at");
    slider.min = String(Math.floor(Math.min(...stamps) / MINUTE));
    slider.max = String(Math.ceil(Math.max(...stamps) / MINUTE));
    slider.value = String(Math.ceil((refused ? Date.parse(refused.recorded_at) : Math.max(...stamps)) / MINUTE));
    this.field(story);
    this.listen();
  }

  /** The field that the story is most about. */
  field(story) {
    const named = story.events.map(({ data }) => data.field).filter(Boolean).at(-1);
    if (named) of("asked").value = named;
  }

  listen() {
    const move = (by) => {
      of("moment-at").value = String(Number(of("moment-at").value) + by);
      this.changed();
    };
    of("moment-at").oninput = () => this.changed();
    of("back").onclick = () => move(-1);
    of("on").onclick = () => move(1);
    of("asked").onchange = () => this.changed();
    for (const radio of document.querySelectorAll("[name=axis]")) radio.onchange = () => this.changed();
    this.tell();
  }

  changed() {
    this.tell();
    clearTimeout(this.waiting);
    this.waiting = setTimeout(() => this.moved(), PAUSE);
  }

  tell() {
    of("moment-time").textContent = this.local(this.at);
    of("moment-at").setAttribute("aria-valuetext", this.local(this.at));
  }

  /** Ask for both answers; only the latest question's answer is shown. */
  async ask() {
    const mine = ++this.asked;
    const at = new Date(this.at).toISOString();
    let answer;
    try {
      answer = await get(`/audit/clearance/${this.player}`, { field: of("asked").value, as_recorded: at, as_happened: at });
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      if (mine === this.asked) of("verdict").replaceChildren(el("p", { class: "differs" }, error.message));
      return;
    }
    if (mine !== this.asked) return;
    const recorded = this.axis === "recorded";
    const side = recorded ? answer.as_recorded : answer.as_happened;
    const words = recorded ? "on what had been recorded" : "as it happened";
    of("verdict").replaceChildren(
      verdict(side.cleared, `${side.cleared ? "Cleared" : "Not cleared"}, ${words}`, side.reasons),
      ...(answer.differ ? [el("p", { class: "differs" }, answer.difference)] : [el("p", { class: "small" }, answer.difference)]),
    );
  }
}
