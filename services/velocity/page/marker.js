/** What is done to a marker at the bench, as commands of the park. */

import { uuid7 } from "../../page/park.js";

export class Marker {
  sealed = false;
  #outbox;
  #chrono;
  #refused = "";

  constructor(outbox, chrono) {
    this.#outbox = outbox;
    this.#chrono = chrono;
    outbox.addEventListener("refused", ({ detail: { asked } }) => {
      if (asked?.command === "velocity/open-string") this.#refused = asked.body.marker;
    });
  }

  /** The marker that was scanned last, where its string was refused: nothing that is shown or shot then is of it. */
  get refused() {
    return this.#refused;
  }

  /** The next marker: whatever is shot from now on is not of the one before, even if the park should not know this one. */
  next(marker, open) {
    if (open) this.#outbox.put("velocity/end-string", { chrono: this.#chrono, low_pressure: false }, { quiet: true });
    this.open(marker);
  }

  /** Begin a string. */
  open(marker, sealed = this.sealed) {
    this.#refused = "";
    this.#outbox.put("velocity/open-string", { test: `string-${uuid7()}`, marker, chrono: this.#chrono, sealed });
  }

  /** A reading that was typed off the chronograph. */
  read(speed) {
    this.#outbox.put("velocity/take-reading", { chrono: this.#chrono, speed_fps: speed, source: "typed" });
  }

  /** Something was shown that is no reading; `speed` where one was. */
  misread(kind, speed) {
    this.#outbox.put("velocity/take-reading", { chrono: this.#chrono, misread: kind, speed_fps: speed, source: "typed" });
  }

  /** End the string with what it has. */
  end(lowPressure) {
    this.#outbox.put("velocity/end-string", { chrono: this.#chrono, low_pressure: lowPressure });
  }

  /** The adjuster was turned: whatever was measured is void, and the marker is shot anew. */
  adjusted(marker) {
    this.#outbox.put("velocity/change-set-up", { marker, change: "adjuster" });
    this.open(marker);
  }

  /** An answer of the bench with what was done here since: a string that was begun, readings that were typed, one that is ended. */
  since(view) {
    let { string } = view;
    for (const { command, body, receipt } of this.#outbox.unseen) {
      if (command === "velocity/open-string") string = begun(body, view);
      else if (string && command === "velocity/take-reading") string = longer(string, body, !receipt);
      const ended = command === "velocity/end-string" || receipt?.events.some(({ type }) => type === "velocity.marker_tested");
      if (string && ended && command !== "velocity/open-string") string = { ...string, to_come: 0, ended: true };
    }
    if (this.#refused && !string) return { ...view, string: null, last: null, refused: this.#refused };
    return { ...view, string };
  }
}

const begun = ({ test, marker, sealed }, view) => ({
  test, marker, sealed, ball_g: (view.string ?? view.last)?.ball_g, shown: [], to_come: view.needed, fields: [], unsent: true,
});

function longer(string, { speed_fps: speed, misread }, pending) {
  const left = misread ? string.to_come : Math.max(0, string.to_come - 1);
  return { ...string, to_come: left, shown: [...string.shown, { speed_fps: speed ?? undefined, misread, pending }] };
}
