/** What was touched on this device, the newest first: kept whatever becomes of the page, with what withdraws it. */

import { kept, now, save } from "../../page/park.js";

const KEPT = 30;
const NAME = "handheld touches";

/** Each entry: its words, when, the keys it was sent under, and the commands that withdraw it, if anything does. */
export class Log {
  #held = null;

  get entries() {
    return this.#held ?? kept(NAME, []);
  }

  /** On the device, or in this page where that has no room. */
  #keep(entries) {
    this.#held = save(NAME, entries) ? null : entries;
  }

  add(words, keys, undo = []) {
    this.#keep([{ words, at: now().toISOString(), keys, undo }, ...this.entries].slice(0, KEPT));
  }

  /** The newest that may still be withdrawn, as far as the park's rule lets this device. */
  undoable(minutes) {
    const oldest = now().getTime() - minutes * 60_000;
    return this.entries.find((one) => one.undo.length > 0 && !one.undone && !one.refused && Date.parse(one.at) >= oldest);
  }

  undone(entry) {
    this.#mark(entry.keys[0], { undone: true });
  }

  /** The park did not record it, and said why. */
  refused(key, sentence) {
    this.#mark(key, { refused: sentence });
  }

  #mark(key, marks) {
    this.#keep(this.entries.map((one) => (one.keys.includes(key) ? { ...one, ...marks } : one)));
  }
}
