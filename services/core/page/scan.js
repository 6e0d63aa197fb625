/**
 * Codes, read by a scanner that types as a keyboard does, or typed by hand: one way in, wherever the focus is.
 * A scanner is told from a hand by its speed: every key within FAST_MS of the one before, and Enter or Tab soon behind the last.
 */

const FAST_MS = 70;
const END_MS = 200;
const LEAST = 3;
const TWICE_MS = 1000;
const LONG = 24;
const SYMBOLOGY = /^\][A-Za-z][0-9A-Za-z]/; // said by some scanners before what they read, as in ISO/IEC 15424

/** A code as a person can compare it: the whole of it, or its two ends. */
export const brief = (code) => (code.length > LONG ? `${code.slice(0, 10)} … ${code.slice(-6)}` : code);

const typesInto = (target) => target instanceof HTMLTextAreaElement || (target instanceof HTMLInputElement && target.selectionStart !== null);

/**
 * `input`: a field in a form of its own, for a code typed by hand; `shown`: where it is told what was read;
 * `take(code, how)`: what is done with a code, "scanned" or "typed"; one after another, each once the one before is done.
 * Nothing is taken while the input cannot be seen, so that a key may be scanned into a form for it.
 */
export class Scanner {
  #input;
  #shown;
  #take;
  #run = null;
  #waiting = [];
  #busy = false;
  #last = { code: "", at: -Infinity };
  #unended = 0;

  constructor({ input, shown, take }) {
    this.#input = input;
    this.#shown = shown;
    this.#take = take;
    document.addEventListener("keydown", (event) => this.#key(event), { capture: true });
    input.form.addEventListener("submit", (event) => {
      event.preventDefault();
      const code = input.value.trim();
      input.value = "";
      if (code) this.#put(code, "typed", event.timeStamp);
    });
  }

  /** How many codes wait until the one before them is done. */
  get waiting() {
    return this.#waiting.length;
  }

  #key(event) {
    if (!this.#input.checkVisibility() || event.isComposing || event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.key === "Enter" || event.key === "Tab") this.#end(event);
    else if (event.key.length === 1) this.#grow(event);
    else if (event.key !== "Shift" && event.key !== "CapsLock") this.#run = null;
  }

  /** One more character: of the run that goes on, or the first of another. What a field held before is remembered. */
  #grow(event) {
    const goesOn = this.#run && event.timeStamp - this.#run.at <= FAST_MS;
    if (!goesOn) {
      if (!event.target.closest("input, select, textarea, button, a, summary")) this.#input.focus();
      const into = typesInto(document.activeElement) ? document.activeElement : null;
      this.#run = { text: "", into, before: into && [into.value, into.selectionStart, into.selectionEnd] };
    }
    if (goesOn && !this.#run.into) event.preventDefault(); // a space would press the button that has the focus
    this.#run.text += event.key;
    this.#run.at = event.timeStamp;
    clearTimeout(this.#unended);
    this.#unended = setTimeout(() => this.#left(), 2 * END_MS);
  }

  #end(event) {
    const run = this.#run;
    this.#run = null;
    clearTimeout(this.#unended);
    if (!run || run.text.length < LEAST || event.timeStamp - run.at > END_MS) return;
    event.preventDefault();
    event.stopPropagation();
    if (run.into) {
      run.into.value = run.before[0];
      run.into.setSelectionRange(run.before[1], run.before[2]);
    }
    const code = run.text.trim().replace(SYMBOLOGY, "");
    if (code) this.#put(code, "scanned", event.timeStamp);
  }

  /** A scanner that ends with neither Enter nor Tab: what it read waits in the field. Should the page only have been slow, the run goes on there. */
  #left() {
    const run = this.#run;
    if (!run || run.into || run.text.length < LEAST) return;
    run.into = this.#input;
    run.before = ["", 0, 0];
    this.#input.value = run.text;
    this.#input.focus();
    this.#tell(`Read ${brief(run.text)}, without an end. Press Enter to use it; set the scanner to end with Enter.`);
  }

  #put(code, how, at) {
    const twice = how === "scanned" && code === this.#last.code && at - this.#last.at < TWICE_MS;
    this.#last = { code, at };
    if (twice) return;
    this.#waiting.push([code, how]);
    this.#tell();
    this.#go();
  }

  async #go() {
    if (this.#busy) return;
    this.#busy = true;
    while (this.#waiting.length > 0) {
      const [code, how] = this.#waiting.shift();
      this.#tell(`Read ${brief(code)}`);
      try {
        await this.#take(code, how);
      } catch (error) {
        reportError(error); // the codes behind it are taken all the same
      }
    }
    this.#busy = false;
  }

  #now = "";
  #tell(sentence = this.#now) {
    this.#now = sentence;
    const queue = this.#waiting.map(([code]) => brief(code));
    this.#shown.textContent = queue.length === 0 ? sentence : `${sentence} · waiting: ${queue.join(", ")}`;
  }
}
