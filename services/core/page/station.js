/** What the pages of all stations do alike: the alert, the key that opens a page and what ends the visit, whether the park answers and what is not sent yet, and the clock. */

import { device, forget, key, now, Refusal, whereKept } from "./park.js";
import { signIn } from "./sign-in.js";

const NO_KEY = "This is no key of this park. Copy it whole, the device's name, the dot and what follows, as it was shown when the device was enrolled.";
const TICK_MS = 250;

export const of = (id) => document.getElementById(id);

/** The page's alert, none without a sentence. What is new is brought to where it is seen, unless nobody waits for it. */
export function problem(sentence, { seen = true } = {}) {
  const told = of("problem");
  const news = sentence !== told.textContent;
  told.hidden = !sentence;
  told.textContent = sentence;
  if (sentence && news && seen) told.scrollIntoView({ block: "nearest" });
}

/** A moment as the park's clocks show it. */
export const timeOfDay = (moment, timeZone = "UTC") => new Date(moment).toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit", timeZone });

/**
 * A page from sign-in to sign-out. `begin` opens it with the key that is here; `shown`: the ids of what only a key shows; `leave` takes away what else the key had opened;
 * `told`: what is said of a refusal that does not end the visit. What is not sent yet stays with its key, and that is said.
 */
export function visit({ begin, shown, outbox = { waiting: [] }, leave = () => {}, told = ({ message }) => problem(message) }) {
  function signOut(sentence = "") {
    const count = outbox.waiting.length;
    const unsent = count === 0 ? "" : ` ${count} recorded on ${device()} not sent: kept ${whereKept()} until its key opens again. If it was revoked, write them down for a manager.`;
    leave();
    forget();
    for (const id of shown) of(id).hidden = true;
    of("sign-in").hidden = false;
    of("key").value = "";
    of("key").focus();
    problem(sentence + unsent);
  }

  /** A key that opens nothing ends the visit, and so does one that this is not for; a command that it is not for does not. */
  function refused(refusal) {
    if (!(refusal instanceof Refusal)) throw refusal;
    if (refusal.status === 401) signOut(NO_KEY);
    else if (refusal.status === 403 && !refusal.asked) signOut(refusal.message);
    else told(refusal);
  }

  signIn(of("sign-in"), begin, problem);
  of("forget").addEventListener("click", () => signOut());
  return { signOut, refused, start: () => (key() ? begin() : signOut()) };
}

/**
 * A visit whose page follows what the park shows and records in a line. `draw` shows it all anew; `tick` what goes by the clock;
 * `old`: what it means that the park does not answer; `more`: what else is to be said of that.
 */
export function station({ follower, outbox, draw, tick, leave = () => {}, old = "what you see may be old.", more = () => "", ...page }) {
  const clock = (moment) => timeOfDay(moment, follower.view?.time_zone);
  const show = () => follower.view && (of("clock").textContent = clock(now()));

  function drawLink() {
    if (!key()) return;
    const { live, view, since } = follower;
    const count = outbox.waiting.length;
    document.body.classList.toggle("stale", !live);
    document.body.classList.toggle("unsent", count > 0);
    const cut = view ? `✖ NOT CONNECTED since ${clock(since)}: ${old}` : "✖ NOT CONNECTED: nothing is heard from the park yet.";
    of("link").textContent = [
      live ? "● live" : cut,
      count > 0 && `${count} not sent yet: kept, and sent in order.`,
      outbox.unkept && "This device has no room for it: leave the page open.",
      more(),
    ].filter(Boolean).join(" ");
  }

  function away() {
    leave();
    follower.stop();
    of("link").textContent = of("clock").textContent = "";
    document.body.classList.remove("stale", "unsent");
  }

  const { refused, ...rest } = visit({ ...page, outbox, leave: away });
  const hear = ({ detail }) => refused(detail);
  for (const change of ["view", "link"]) follower.addEventListener(change, draw);
  follower.addEventListener("refused", hear);
  outbox.addEventListener("moved", draw);
  outbox.addEventListener("refused", hear);
  outbox.addEventListener("cut", () => follower.lost());
  outbox.addEventListener("answered", () => follower.found());
  setInterval(() => key() && (tick ?? show)(), TICK_MS);
  return { ...rest, refused, clock, drawLink };
}
