/** The park from a page that staff touch: what it is asked, what is sent to it in order until it is answered, and its clock. */

const KEPT = "fieldledger key";
export const AGAIN_MS = 2000;
const ANSWERS_WITHIN_MS = 20_000;
const RECORDED_WITHIN_MS = 10_000;
const SIGNED_EVERY_MS = 60_000;
const here = /^.*?\/parks\/[^/]+/.exec(location.pathname)[0];

export const park = decodeURIComponent(here.split("/").pop());
export const base = here;

/** Where the key and what is not sent yet are kept: in this tab, or on the device whatever becomes of the tab. */
let store = sessionStorage;
export const keepOnDevice = () => (store = localStorage);
export const whereKept = () => (store === localStorage ? "here" : "in this tab, which must stay open,");
let held = null;
export const key = () => held ?? store.getItem(KEPT);

/** A store that has no room for it loses no key: then it lasts as long as the page. */
export function keep(value) {
  held = null;
  try {
    store.setItem(KEPT, value.trim());
  } catch {
    held = value.trim();
  }
}

export function forget() {
  held = null;
  store.removeItem(KEPT);
}
export const device = () => (key() ?? "").replace(/\.[^.]*$/, "");

/** What this device keeps under a name of its own, as JSON. */
const at = (name) => `fieldledger ${name} ${park} ${device()}`;
export const kept = (name, otherwise) => JSON.parse(store.getItem(at(name))) ?? otherwise;

/** Returns whether the device has kept it: its store may be full, and nothing that is recorded or shown waits for that. */
export function save(name, value) {
  try {
    store.setItem(at(name), JSON.stringify(value));
    return true;
  } catch {
    return false;
  }
}

/** The park refused, or could not be reached (status 0); the message is what a person is to read. */
export class Refusal extends Error {
  constructor(status, sentence, type = "", problem = {}) {
    super(sentence);
    this.status = status;
    this.type = type;
    this.problem = problem;
    this.asked = null;
  }

  /** The same may be sent again: nobody knows yet, or others came between, or its first sending is still at work, or it has to wait. */
  get passing() {
    return this.status === 0 || this.status === 429 || this.status >= 500 || this.type.endsWith("/contended") || this.type.endsWith("/in-flight");
  }
}

const UNREACHED = "The park's server cannot be reached.";
/** What is asked for has an answer of this shape, or something that stands between has answered in the park's place. */
export function mustBe(shaped) {
  if (!shaped) throw new Refusal(0, UNREACHED);
}
const isReceipt = (answer) => Number.isInteger(answer?.position);
const PROBLEMS = "/problems/";

async function send(path, options, signal, within = ANSWERS_WITHIN_MS) {
  let response;
  try {
    const limit = AbortSignal.timeout(within);
    response = await fetch(here + path, {
      ...options,
      signal: signal ? AbortSignal.any([signal, limit]) : limit,
      headers: { Authorization: `Bearer ${key()}`, ...options.headers },
    });
    if (response.ok) return await response.json();
  } catch (error) {
    if (signal?.aborted) throw error;
    throw new Refusal(0, UNREACHED);
  }
  const problem = await response.json().catch(() => null);
  if (!String(problem?.type).startsWith(PROBLEMS)) throw new Refusal(0, UNREACHED); // something that stands between answered in the park's place
  throw new Refusal(response.status, problem.detail ?? `The server answered ${response.status}.`, problem.type, problem);
}

/** What a path answers. */
export function get(path, asked = {}, signal = undefined) {
  const given = Object.entries(asked).filter(([, value]) => value !== undefined && value !== null && value !== "");
  const query = new URLSearchParams(given).toString();
  return send(query ? `${path}?${query}` : path, {}, signal);
}

/** Who has this pass or armband today: what can be neither is nobody's, like one that nobody has (404). */
export async function whoShows(asked, signal = undefined) {
  try {
    return await get("/registration/players", asked, signal);
  } catch (error) {
    if (!(error instanceof Refusal) || !error.type.endsWith("/invalid-parameter")) throw error;
    throw new Refusal(404, "This is no day pass of this park and no armband's number. Read it again, or type the armband's number.");
  }
}

/** The park's own clock, as it was last heard; never ahead of it. The answer that was under way for the shortest time says best. */
const BEST_FOR_MS = 30_000;
let offset = null;
let heardAt = -Infinity;
export function heard(asOf) {
  const told = Date.parse(asOf) - Date.now();
  if (offset !== null && told < offset && performance.now() - heardAt < BEST_FOR_MS) return;
  offset = told;
  heardAt = performance.now();
  save("offset", offset);
}
const ahead = () => offset ?? (offset = kept("offset", null));
export const now = () => new Date(Date.now() + (ahead() ?? 0));

/** A moment for the record: each later than the one before, however long the park's last answer was under way. */
let stamped = 0;
const LATE_MS = 5000;
function stamp() {
  const moment = now().getTime();
  stamped = stamped > moment + LATE_MS ? moment : Math.max(stamped + 1, moment);
  return new Date(stamped).toISOString();
}

export function uuid7() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  const millis = BigInt(Date.now());
  for (let index = 0; index < 6; index += 1) bytes[index] = Number((millis >> BigInt(8 * (5 - index))) & 255n);
  bytes[6] = 0x70 | (bytes[6] & 15);
  bytes[8] = 0x80 | (bytes[8] & 63);
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/(.{8})(.{4})(.{4})(.{4})(.{12})/, "$1-$2-$3-$4-$5");
}

/**
 * What this page records: one after another, each under one key until the park has answered it. What is not sent yet outlasts a reload.
 * What was recorded is kept until a checkpoint outside the park's database covers it, and sent again where the log has begun another life without it.
 * Dispatches "moved" whenever the line grows or shrinks, "refused" with the park's sentence and the command that was `asked`, unless it stays in the line, "cut" where the network is away, "answered" with each receipt.
 * `counted`: each fact bears the device's own dense number, whichever of its pages it is put in, so that a number that never came is a fact that was lost. `ends`: the statuses at which the line stands still, for the key opens nothing.
 */
export class Outbox extends EventTarget {
  #name;
  #counted;
  #ends;
  #unkept = [];
  #last = new Map();
  #sending = false;
  #recorded = [];
  #seen = { epoch: 0, position: 0 };
  #lookedAt = -Infinity;
  #wake = null;

  constructor(name, { counted = false, ends = [401, 403] } = {}) {
    super();
    this.#name = name;
    this.#counted = counted;
    this.#ends = ends;
    addEventListener("online", () => this.#wake?.());
    addEventListener("storage", () => this.dispatchEvent(new Event("moved")));
  }

  /** What waits of the device whose key is here: read anew each time, for another tab may have put or sent some of it. */
  get waiting() {
    return [...kept(`${this.#name} unsent`, []), ...this.#unkept.filter((one) => one.whose === device())];
  }

  /** Whether the device could not keep some of it: that is lost with the page. */
  get unkept() {
    return this.#unkept.length > 0;
  }

  /** What no answer of the park shows yet, in order: recorded since, each with its receipt, and what still waits. */
  get unseen() {
    return [...this.#recorded, ...this.waiting];
  }

  /** An answer of the park is here: what it rests on is seen. */
  saw({ epoch, position }) {
    this.#seen = { epoch, position };
    this.#recorded = this.#recorded.filter(({ receipt }) => receipt.epoch === epoch && receipt.position > position);
    if (this.#sent.some((one) => one.epoch < epoch)) this.#sendAgain(epoch);
    else this.#forget();
  }

  /** What was recorded and lies under no checkpoint yet, as far as this device knows; each with the life of the log that is known to hold it. */
  get #sent() {
    return kept(`${this.#name} sent`, []);
  }

  /** The log has begun another life, which may lack what this one was told last: it is told again, before anything newer. */
  #sendAgain(epoch) {
    const lost = this.#sent.filter((one) => one.epoch < epoch).map(({ position, epoch: _, ...entry }) => entry);
    if (!save(`${this.#name} unsent`, [...lost, ...kept(`${this.#name} unsent`, [])])) return;
    save(`${this.#name} sent`, this.#sent.filter((one) => one.epoch >= epoch));
    this.dispatchEvent(new Event("moved"));
    this.go();
  }

  /** Forget what the newest checkpoint covers; asked for now and then, while there is anything. */
  async #forget() {
    if (this.#sent.length === 0 || performance.now() - this.#lookedAt < SIGNED_EVERY_MS) return;
    this.#lookedAt = performance.now();
    try {
      const [signed] = (await get("/evidence/checkpoints", { limit: 1 })).checkpoints;
      if (signed) save(`${this.#name} sent`, this.#sent.filter((one) => one.epoch !== signed.epoch || one.position > signed.size));
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
    }
  }

  /** Record a command, with the moment at which it happened; returns its key. `quiet`: that it is needless by now is not worth telling. */
  put(command, body, { quiet = false } = {}) {
    const raw = ahead() === null;
    const entry = { command, body: { ...body, occurred_at: stamp() }, key: uuid7(), quiet, raw, number: this.#number(), whose: device() };
    this.#add(entry);
    this.go();
    return entry.key;
  }

  drop() {
    this.#remove((one) => one.whose === device());
  }

  /** Ask for something that only counts if it is answered now. Nothing of it is kept; raises a Refusal. Under the same `name` it is the same request again. `shaped`: whether an answer is one to this, where that is no receipt. */
  ask(command, body, name = uuid7(), shaped = isReceipt) {
    return this.#post({ command, body, key: name }, shaped);
  }

  async go() {
    if (this.#sending) return;
    this.#sending = true;
    while (this.waiting.length > 0 && key()) {
      const [next, whose] = [this.waiting[0], device()];
      try {
        const receipt = await this.#post(next); // an answer of the park meanwhile makes the list of what is recorded anew
        if (device() !== whose) continue; // its own key finds it recorded, once that is here again
        this.#recorded.push({ ...next, receipt });
        const epoch = Math.max(receipt.epoch, this.#seen.epoch); // a repeat tells of the life that it was first recorded in
        save(`${this.#name} sent`, [...this.#sent, { ...next, epoch, position: receipt.position }]);
        this.saw(this.#seen);
        this.dispatchEvent(new CustomEvent("answered", { detail: { ...next, receipt } }));
      } catch (error) {
        if (!(error instanceof Refusal)) throw error;
        if (device() !== whose) continue;
        if (this.#ends.includes(error.status)) {
          this.dispatchEvent(new CustomEvent("refused", { detail: error }));
          break;
        }
        if (error.passing) {
          this.dispatchEvent(new Event("cut"));
          await this.#pause();
          continue;
        }
        error.asked = next;
        if (!(next.quiet && error.type.endsWith("/not-in-that-state"))) this.dispatchEvent(new CustomEvent("refused", { detail: error }));
      }
      this.#remove((one) => one.key === next.key);
    }
    this.#sending = false;
  }

  /** Before the next try: some seconds, or until the device says that it is online. */
  #pause() {
    return new Promise((resolve) => {
      this.#wake = resolve;
      setTimeout(resolve, AGAIN_MS);
    });
  }

  async #post({ command, body, key: name, raw, number }, shaped = isReceipt) {
    const headers = { "Content-Type": "application/json", "Idempotency-Key": `"${name}"` };
    if (number) headers["Device-Seq"] = String(number);
    if (raw) headers["Device-Time"] = new Date().toISOString();
    const answer = await send(`/${command}`, { method: "POST", body: JSON.stringify(body), headers }, undefined, RECORDED_WITHIN_MS);
    mustBe(shaped(answer));
    return answer;
  }

  #number() {
    if (!this.#counted) return undefined;
    const number = Math.max(kept("count", 0), this.#last.get(device()) ?? 0) + 1;
    this.#last.set(device(), number);
    save("count", number);
    return number;
  }

  /** Behind what waits, on the device if it has room for it all; else in this page. */
  #add(entry) {
    if (this.#keep([...this.waiting, entry])) this.#unkept = this.#unkept.filter((one) => one.whose !== device());
    else this.#unkept.push(entry);
    this.dispatchEvent(new Event("moved"));
  }

  /** What waits goes before what is only kept lest the park lose it. */
  #keep(entries) {
    if (save(`${this.#name} unsent`, entries)) return true;
    save(`${this.#name} sent`, []);
    return save(`${this.#name} unsent`, entries);
  }

  #remove(gone) {
    save(`${this.#name} unsent`, kept(`${this.#name} unsent`, []).filter((one) => !gone(one)));
    this.#unkept = this.#unkept.filter((one) => !gone(one));
    this.dispatchEvent(new Event("moved"));
  }
}
