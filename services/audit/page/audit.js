/** The audit page: from a pass, an armband or a time to what was known, what was decided, and the case file. Two minutes, on the phone. */

import { el } from "../board/dom.js";
import { download, forget, get, keep, key, park, Refusal } from "./ask.js";
import { find, listen } from "./find.js";
import { Moment } from "./moment.js";
import { clock, fade, show } from "./timeline.js";
import { WhatIf } from "./whatif.js";

const of = (id) => document.getElementById(id);
const NO_KEY =
  "This is no key of this park. Copy it whole, the device's name, the dot and what follows, as it was shown when the device was enrolled.";
let zone = "UTC";
let shown = null;

/** Do what a person asked for; whatever is refused is said in its own sentence. */
async function doing(what, work) {
  of("problem").hidden = true;
  of("state").textContent = `${what} …`;
  try {
    of("state").textContent = (await work()) ?? "";
  } catch (error) {
    of("state").textContent = "";
    if (!(error instanceof Refusal)) throw error;
    of("problem").textContent = error.status === 401 ? NO_KEY : error.message;
    of("problem").hidden = false;
    if (error.status === 401 || error.status === 403) signOut();
  }
}

function signOut() {
  forget();
  shown = null;
  for (const id of ["find", "case", "forget"]) of(id).hidden = true;
  of("sign-in").hidden = false;
  of("key").value = "";
  of("key").focus();
}

/** What the park calls its fields, and which clock it goes by. */
async function begin() {
  const status = await get("/board.json");
  zone = status.time_zone;
  await get("/audit/players", { day: status.day, armband: 9999 }).catch((error) => {
    if (error.status !== 404) throw error;
  });
  of("day").value = status.day;
  of("clock").textContent = `Times are by the park's own clock (${zone}).`;
  for (const id of ["where", "asked"]) {
    const options = Object.entries(status.fields).map(([field, { title }]) => el("option", { value: field }, title));
    of(id).replaceChildren(...(id === "where" ? [el("option", { value: "" }, "—"), ...options] : options));
  }
  of("sign-in").hidden = true;
  of("find").hidden = of("forget").hidden = false;
  of("pass").focus();
}

class Case {
  constructor(player) {
    this.player = player;
    this.moment = new Moment(() => this.look());
    this.whatIf = new WhatIf();
  }

  async open() {
    await this.read();
    of("case").hidden = false;
    const { player, armband, day_pass: pass, group, day } = this.player;
    const date = clock(zone, { weekday: "long", day: "numeric", month: "long", year: "numeric" })(Date.parse(`${day}T12:00Z`));
    of("who").querySelector("h2").textContent = `Armband ${armband} · ${player}`;
    of("who").querySelector(".facts").textContent = [date, `pass ${pass}`, group && `group ${group}`, `${this.story.events.length} events`].filter(Boolean).join(" · ");
    this.moment.over(this.story, player);
    this.whatIf.over(player);
    of("case").scrollIntoView({ block: "start", behavior: "instant" });
    await this.look();
  }

  async read() {
    const order = document.querySelector("[name=order]:checked").value;
    this.story = await get(`/audit/stories/player/${this.player.player}`, { order, limit: 1000 });
    of("more").hidden = !this.story.more;
    of("more").textContent = "Only the first 1,000 events are shown; the case file holds them all.";
    show(of("timeline").querySelector("ol"), this.story, (position, ticked) => this.whatIf.tick(position, ticked));
    this.whatIf.restore();
  }

  async look() {
    fade(of("timeline").querySelector("ol"), this.story, this.moment.axis, this.moment.at);
    await this.moment.ask();
  }
}

of("park").textContent = `${park} · audit`;
document.title = `Audit · ${park}`;

of("sign-in").addEventListener("submit", (event) => {
  event.preventDefault();
  keep(of("key").value);
  doing("Trying the key", begin);
});
of("forget").addEventListener("click", signOut);
listen();
of("find").addEventListener("submit", (event) => {
  event.preventDefault();
  of("case").hidden = true;
  of("found").replaceChildren();
  doing("Looking", () =>
    find(zone, (player) =>
      doing("Reading the record", () => {
        shown = new Case(player);
        return shown.open();
      }),
    ),
  );
});
of("download").addEventListener("click", () =>
  doing("Making the case file", async () => {
    const { player } = shown.player;
    const name = await download(`/audit/cases/player/${player}`, `${park}-${player}.zip`);
    return `${name} is saved. README.txt in it says how anybody can check it.`;
  }),
);
for (const radio of document.querySelectorAll("[name=order]")) {
  radio.addEventListener("change", () => doing("Reading the record", () => shown.read().then(() => shown.look())));
}
of("ask").addEventListener("click", () => doing("Replaying the day", () => shown.whatIf.ask()));

if (key()) doing("Trying the key", begin);
else signOut();
