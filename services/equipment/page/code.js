/** What a code names: a piece of gear, or somebody by his day pass or the number on his armband. */

import { get, Refusal, whoShows } from "../../page/park.js";

const NUMBER = /^[0-9]{1,4}$/;
const GEAR = /^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$/;

/** Null where nobody has it; any other refusal is the caller's. */
async function somebody(asked) {
  try {
    return await whoShows(asked);
  } catch (error) {
    if (error instanceof Refusal && error.status === 404) return null;
    throw error;
  }
}

const gear = async (code, player) => (GEAR.test(code) ? (await get("/equipment/counter.json", { gear: code, player })).in_hand ?? [] : []);

/**
 * `{ somebody }`, `{ pieces }`, or `{}`. A number is an armband first while nobody stands at the counter, and gear first while somebody does.
 */
export async function named(code, player) {
  const armband = NUMBER.test(code) && Number(code) > 0;
  if (armband && !player) {
    const found = await somebody({ armband: Number(code) });
    if (found) return { somebody: found };
  }
  const pieces = await gear(code, player);
  if (pieces.length > 0) return { pieces };
  const found = armband && player ? await somebody({ armband: Number(code) }) : null;
  if (found) return { somebody: found };
  const shown = await somebody({ day_pass: code });
  return shown ? { somebody: shown } : {};
}
