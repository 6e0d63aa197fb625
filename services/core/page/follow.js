/** Following what a path shows: asks for what is newer, waits, and asks again; knows when nothing is heard. */

import { AGAIN_MS, get, heard, mustBe, now, Refusal } from "./park.js";

/**
 * Dispatches "view" with each new answer, "link" when it becomes stale or live, "refused" where it may not be seen.
 */
export class Follower extends EventTarget {
  view = null;
  live = false;
  since = now();
  #path = "";
  #asked = {};
  #abort = null;
  #outbox;

  constructor(outbox) {
    super();
    this.#outbox = outbox;
    for (const change of ["online", "offline"]) addEventListener(change, () => this.#again());
  }

  /** Follow this path, asked so, from now on. */
  follow(path, asked = {}) {
    this.#path = path;
    this.#asked = asked;
    this.#abort?.abort();
    this.#abort = new AbortController();
    this.#run(this.#abort.signal);
  }

  /** Whoever follows next, under another key perhaps, hears anew that it is live. */
  stop() {
    this.#abort?.abort();
    if (this.live) this.since = now();
    this.live = false;
  }

  /** The network is known to be gone. */
  lost() {
    this.#setLive(false);
  }

  /** The park answers again: what it shows is asked for at once. */
  found() {
    if (this.view && !this.live) this.#again();
  }

  /** Asked at once instead of with the wait that is under way: so it is seen within a moment that the device's network went, or came back. */
  #again() {
    if (this.#abort && !this.#abort.signal.aborted) this.follow(this.#path, this.#asked);
  }

  async #run(signal) {
    let after = "";
    while (!signal.aborted) {
      try {
        const view = await get(this.#path, { ...this.#asked, after }, signal);
        if (signal.aborted) return;
        mustBe(Number.isInteger(view?.position));
        heard(view.as_of);
        this.#outbox.saw(view);
        after = `${view.epoch}:${view.position}`;
        this.view = view;
        this.#setLive(true);
        this.dispatchEvent(new Event("view"));
      } catch (error) {
        if (signal.aborted) return;
        if (!(error instanceof Refusal)) throw error;
        if (error.passing || error.status !== 422) this.#setLive(false);
        if (!error.passing && error.status !== 422) this.dispatchEvent(new CustomEvent("refused", { detail: error }));
        if (signal.aborted) return; // whoever heard of it has left
        after = ""; // what is asked next is answered at once, not once there is something new
        await new Promise((resolve) => setTimeout(resolve, AGAIN_MS));
      }
    }
  }

  #setLive(live) {
    if (live === this.live && this.view) return;
    if (this.live && !live) this.since = now();
    this.live = live;
    this.dispatchEvent(new Event("link"));
  }
}
