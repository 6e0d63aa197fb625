/** What is done at the counter. What is asked for counts once the park has answered; what has happened is recorded, and waits where the network is away. */

import { Refusal } from "../../page/park.js";

const words = (code) => code.replaceAll("_", " ");
const Kind = (piece) => piece.kind[0].toUpperCase() + piece.kind.slice(1);

/** Whatever the park says no to, with each reason and where it is cleared. */
export function said(refusal) {
  const reasons = refusal.problem?.refusal?.reasons ?? [];
  return reasons.length === 0 ? [refusal.message] : reasons.map((one) => `${one.sentence} → ${one.where}`);
}

export class Acts {
  #outbox;
  #tell;

  /** `tell(kind, title, sentences)`: "done", "no", "waits" or "unsure". */
  constructor(outbox, tell) {
    this.#outbox = outbox;
    this.#tell = tell;
  }

  issue(piece, customer) {
    return this.#ask("issue-gear", { player: customer.player, [piece.kind]: piece.name }, piece, `${Kind(piece)} ${piece.name} is issued to ${customer.armband}`);
  }

  swap(piece, customer, returned) {
    return this.#ask("swap-marker", { player: customer.player, returned, marker: piece.name }, piece, `${piece.name} is issued to ${customer.armband}, ${returned} is back`);
  }

  release(piece) {
    return this.#ask("release-gear", { [piece.kind]: piece.name }, piece, `${Kind(piece)} ${piece.name} is in use again`);
  }

  returned(piece) {
    this.#put("return-gear", { player: piece.holder, [piece.kind]: piece.name }, `${Kind(piece)} ${piece.name} is back`);
  }

  quarantine(piece, fault) {
    this.#put("quarantine-gear", { [piece.kind]: piece.name, fault }, `${Kind(piece)} ${piece.name} is out of use: ${words(fault)}`, ["Put it where nobody takes it for a spare."]);
  }

  inspected(piece, { cover, faults }) {
    const body = { player: piece.holder, [piece.kind]: piece.name, faults };
    if (piece.kind === "marker") body.barrel_cover = cover;
    const found = faults.length === 0 ? "no fault" : faults.map(words).join(", ");
    this.#put("inspect-gear", body, `${Kind(piece)} ${piece.name} is inspected: ${found}`);
  }

  /** Something that has happened: it is recorded, whatever becomes of the network. */
  #put(name, body, title, sentences = []) {
    const key = this.#outbox.put(`equipment/${name}`, body);
    this.#tell("waits", title, ["Recorded here; being sent.", ...sentences]);
    const settled = () => {
      if (this.#outbox.waiting.some((one) => one.key === key)) return;
      this.#outbox.removeEventListener("moved", settled);
      this.#outbox.removeEventListener("refused", refused);
      this.#tell("done", title, sentences);
    };
    const refused = ({ detail: refusal }) => {
      if (refusal.asked?.key !== key) return;
      this.#outbox.removeEventListener("moved", settled);
      this.#outbox.removeEventListener("refused", refused);
      this.#tell("no", `Not recorded: ${title}`, said(refusal));
    };
    this.#outbox.addEventListener("moved", settled);
    this.#outbox.addEventListener("refused", refused);
  }

  /** Something that the park may refuse: it is not done before the park has said so. */
  async #ask(name, body, piece, title) {
    try {
      await this.#outbox.ask(`equipment/${name}`, body);
      this.#tell("done", title, []);
      return true;
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      if (error.status === 401 || error.status === 403) throw error;
      if (error.status === 0) {
        this.#tell("unsure", `Not confirmed: ${piece.name}`, ["The network is away, and the park has not answered.", "Keep it at the counter until it stands under his name here, or ask again."]);
      } else this.#tell("no", `No: ${piece.name}`, said(error));
      return false;
    }
  }
}
