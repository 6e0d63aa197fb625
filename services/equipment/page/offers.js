/** What may be done with a piece of gear, as the record has it and with who stands at the counter. Whether it may be, the park decides. */

export const FAULTS = {
  marker: ["leak", "jam", "trigger", "regulator", "cover_missing", "over_limit", "visible_damage", "other"],
  mask: ["lens_scratched", "lens_seal", "strap", "foam", "visible_damage", "other"],
  bottle: ["out_of_test", "valve", "leak", "visible_damage", "other"],
};

/** His own, or what he was issued: a piece of that kind that he has already. */
const other = (piece, customer) => (customer?.gear ?? []).find((one) => one.kind === piece.kind && one.name !== piece.name && !one.owner);

/** Each with the letter that does it, in the order in which it is offered; `loud`: what is most likely meant. */
export function offers(piece, customer, whoIs = (name) => name) {
  const made = [];
  const his = Boolean(customer) && piece.holder === customer.player;
  const before = other(piece, customer);
  const elsewhere = piece.holder && !his;
  const back = { act: "return", letter: "R", words: his ? "It comes back" : `It comes back from ${whoIs(piece.holder)}`, loud: !his };
  if (elsewhere) made.push(back);
  if (customer && !his) {
    const swap = piece.kind === "marker" && before;
    if (swap) made.push({ act: "swap", letter: "S", words: `Swap: ${before.name} back, ${piece.name} out`, loud: !piece.reasons, returned: before.name });
    made.push({ act: "issue", letter: "I", words: piece.owner ? `Give it to ${customer.armband}` : `Issue it to ${customer.armband}${before ? " as well" : ""}`, loud: !before && !piece.reasons });
  }
  if (his) made.push(back);
  if (his && piece.owner) made.push({ act: "inspect", letter: "C", words: "Inspected …" });
  if (piece.faults) made.push({ act: "release", letter: "L", words: "Fit again: release it" });
  made.push({ act: "quarantine", letter: "Q", words: "Out of use …" });
  return made;
}

/** Whether a scan of it, by somebody who issues, is an issue: nothing of its kind is with him yet, and he has not this very piece. */
export const issues = (piece, customer) => Boolean(customer) && piece.holder !== customer.player && !other(piece, customer);
