/** Following the park: keeps the status from the stream, runs the park's clock, and knows when it has not been heard. */

const STALE_MS = 10_000;
const GIVE_UP_MS = 25_000;
const AGAIN_MS = 2_000;

/** JSON merge patch, RFC 7396. */
export function merge(document, patch) {
  if (patch === null || typeof patch !== "object" || Array.isArray(patch)) return patch;
  const result = document !== null && typeof document === "object" && !Array.isArray(document) ? { ...document } : {};
  for (const [name, value] of Object.entries(patch)) {
    if (value === null) delete result[name];
    else result[name] = merge(result[name], value);
  }
  return result;
}

/** Dispatches "status" when there is a new one, and "link" when it becomes stale or live. Only a beat makes it live. */
export class Follower extends EventTarget {
  status = null;
  live = false;
  #url;
  #source = null;
  #heard = -Infinity;
  #asOf = 0;
  #asOfAt = 0;
  #opened = 0;

  constructor(url) {
    super();
    this.#url = url;
  }

  start() {
    this.#open();
    setInterval(() => this.#watch(), 500);
  }

  /** The park's own time in milliseconds; it stands still while nothing is heard. */
  now() {
    const until = this.live ? performance.now() : Math.min(performance.now(), this.#heard);
    return this.#asOf + Math.max(0, until - this.#asOfAt);
  }

  #open() {
    this.#source?.close();
    this.#opened = performance.now();
    this.#source = new EventSource(this.#url);
    this.#source.addEventListener("snapshot", (event) => this.#take(JSON.parse(event.data)));
    this.#source.addEventListener("patch", (event) => this.#take(merge(this.status, JSON.parse(event.data))));
    this.#source.addEventListener("beat", (event) => this.#beat(JSON.parse(event.data)));
    this.#source.addEventListener("error", () => this.#setLive(false));
  }

  #take(status) {
    this.status = status;
    this.#anchor(status.as_of);
    this.dispatchEvent(new Event("status"));
  }

  #beat(beat) {
    this.#anchor(beat.as_of);
    this.#heard = performance.now();
    this.#setLive(true);
  }

  #anchor(asOf) {
    this.#asOf = Date.parse(asOf);
    this.#asOfAt = performance.now();
  }

  #setLive(live) {
    if (live === this.live) return;
    if (!live) this.#heard = Math.max(this.#heard, Math.min(performance.now(), this.#heard + STALE_MS));
    this.live = live;
    this.dispatchEvent(new Event("link"));
  }

  #watch() {
    const silent = performance.now() - this.#heard;
    if (silent > STALE_MS) this.#setLive(false);
    const waited = performance.now() - this.#opened;
    const closed = this.#source.readyState === EventSource.CLOSED;
    if ((closed && waited > AGAIN_MS) || (Math.min(silent, waited) > GIVE_UP_MS && !this.live)) this.#open();
  }
}
