/** The gate's last list, kept on the device: in the browser's cache, which has room for a whole Saturday, or beside the key where there is none. */

import { device, kept, park, save } from "../../page/park.js";

export class Keeping {
  #field;

  constructor(field) {
    this.#field = field;
  }

  get #name() {
    return `gate list ${park} ${device()} ${this.#field}`;
  }

  async keep(list) {
    if (!globalThis.caches) return save(`gate list ${this.#field}`, list);
    const shelf = await caches.open(this.#name);
    return shelf.put("list", new Response(JSON.stringify(list)));
  }

  async last() {
    if (!globalThis.caches) return kept(`gate list ${this.#field}`, null);
    const found = await (await caches.open(this.#name)).match("list");
    return found ? found.json() : null;
  }

  /** With the key goes what it had opened. */
  drop() {
    globalThis.caches?.delete(this.#name);
    save(`gate list ${this.#field}`, null);
  }
}
