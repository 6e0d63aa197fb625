/** The park from this page: what it is asked, what is sent to it in order until it is answered, and its clock. */

const KEPT = "fieldledger key";
export const AGAIN_MS = 2000;
const ANSWERS_WITHIN_MS = 20_000;
const here = location.pathname.replace(/\/velocity\/bench\/?$/, "");

export const park = decodeURIComponent(here.split("/").pop());
const UNSENT = `fieldledger bench unsent ${park}`;
export const key = () => sessionStorage.getItem(KEPT);
export const keep = (value) => sessionStorage.setItem(KEPT, value.trim());
export const forget = () => sessionStorage.removeItem(KEPT);

/** The park refused, or could not be reached (status 0); the message is what a person is to read. */
export class Refusal extends Error {
  constructor(status, sentence, type = "") {
    super(sentence);
    this.status = status;
    this.type = type;
    this.asked = null;
  }

  /** The same may be sent again: nobody knows yet, or others came between. */
  get passing() {
    return this.status === 0 || this.status >= 500 || this.type.endsWith("/contended");
  }
}

async function send(path, options, signal) {
  let response;
  try {
    const limit = AbortSignal.timeout(ANSWERS_WITHIN_MS);
    response = await fetch(here + path, {
      ...options,
      signal: signal ? AbortSignal.any([signal, limit]) : limit,
      headers: { Authorization: `Bearer ${key()}`, ...options.headers },
    });
    if (response.ok) return await response.json();
  } catch (error) {
    if (signal?.aborted) throw error;
    throw new Refusal(0, "The park's server cannot be reached.");
  }
  const problem = await response.json().catch(() => ({}));
  throw new Refusal(response.status, problem.detail ?? `The server answered ${response.status}.`, problem.type);
}

/** What a path answers. */
export function get(path, asked = {}, signal = undefined) {
  const given = Object.entries(asked).filter(([, value]) => value !== undefined && value !== null && value !== "");
  const query = new URLSearchParams(given).toString();
  return send(query ? `${path}?${query}` : path, {}, signal);
}

/** The park's own clock, as it was last heard; never ahead of it. */
let offset = 0;
export const heard = (asOf) => (offset = Date.parse(asOf) - Date.now());
export const now = () => new Date(Date.now() + offset);

/** A moment for the record: each later than the one before, however long the park's last answer was under way. */
let stamped = 0;
const LATE_MS = 5000;
function stamp() {
  const at = now().getTime();
  stamped = stamped > at + LATE_MS ? at : Math.max(stamped + 1, at);
  return new Date(stamped).toISOString();
}

function uuid7() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  const millis = BigInt(Date.now());
  for (let at = 0; at < 6; at += 1) bytes[at] = Number((millis >> BigInt(8 * (5 - at))) & 255n);
  bytes[6] = 0x70 | (bytes[6] & 15);
  bytes[8] = 0x80 | (bytes[8] & 63);
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/(.{8})(.{4})(.{4})(.{4})(.{12})/, "$1-$2-$3-$4-$5");
}

/** Names a string of readings. */
export const newTest = () => `string-${uuid7()}`;

/**
 * What this page records: one after another, each under one key until the park has answered it. What is not sent yet outlasts a reload.
 * Dispatches "moved" whenever the line grows or shrinks, "refused" with the park's sentence and the command that was `asked`, "cut" where the network is away, "answered" with each receipt.
 */
export class Outbox extends EventTarget {
  #waiting = JSON.parse(sessionStorage.getItem(UNSENT) ?? "[]");
  #sending = false;
  #recorded = [];
  #seen = { epoch: 0, position: 0 };

  get waiting() {
    return this.#waiting;
  }

  /** What no answer of the bench shows yet, in order: recorded since, each with its receipt, and what still waits. */
  get unseen() {
    return [...this.#recorded, ...this.#waiting];
  }

  /** An answer of the bench is here: what it rests on is seen. */
  saw({ epoch, position }) {
    this.#seen = { epoch, position };
    this.#recorded = this.#recorded.filter(({ receipt }) => receipt.epoch === epoch && receipt.position > position);
  }

  /** Record a command, with the moment at which it happened. `quiet`: that it is needless by now is not worth telling. */
  put(command, body, { quiet = false } = {}) {
    this.#waiting.push({ command, body: { ...body, occurred_at: stamp() }, key: uuid7(), quiet });
    this.#keep();
    this.go();
  }

  drop() {
    this.#waiting = [];
    this.#keep();
  }

  async go() {
    if (this.#sending) return;
    this.#sending = true;
    while (this.#waiting.length > 0 && key()) {
      const next = this.#waiting[0];
      try {
        const receipt = await send(`/${next.command}`, {
          method: "POST",
          body: JSON.stringify(next.body),
          headers: { "Content-Type": "application/json", "Idempotency-Key": `"${next.key}"` },
        });
        this.#recorded.push({ ...next, receipt });
        this.saw(this.#seen);
        this.dispatchEvent(new Event("answered"));
      } catch (error) {
        if (!(error instanceof Refusal)) throw error;
        if (error.status === 401 || error.status === 403) {
          this.dispatchEvent(new CustomEvent("refused", { detail: error }));
          break;
        }
        if (error.passing) {
          this.dispatchEvent(new Event("cut"));
          await new Promise((resolve) => setTimeout(resolve, AGAIN_MS));
          continue;
        }
        error.asked = next;
        if (!(next.quiet && error.type.endsWith("/not-in-that-state"))) this.dispatchEvent(new CustomEvent("refused", { detail: error }));
      }
      if (this.#waiting[0] === next) this.#waiting.shift();
      this.#keep();
    }
    this.#sending = false;
  }

  #keep() {
    sessionStorage.setItem(UNSENT, JSON.stringify(this.#waiting));
    this.dispatchEvent(new Event("moved"));
  }
}
