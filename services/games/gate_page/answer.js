/** The gate's answer about one person: the log's own while the park can be reached, else that of the last list, as old as it is. */

import { get, mustBe, now, Refusal, whoShows } from "../../page/park.js";
import { fingerprint, NoPass, readPass } from "./pass.js";

const WAITS_MS = 3000;
const ARMBAND = /^[0-9]{1,4}$/;
const AHEAD_MS = 60_000;
const MINUTE = 60_000;

const no = (sentence, where = "desk") => ({ code: "not_known", sentence, where });
const TOO_OLD = { code: "knowledge_too_old", sentence: "The gate has had no network for too long: it clears nobody until it has.", where: "staging" };

const GAME_CLOSED = { code: "game_closed", sentence: "Nobody joins an elimination game that has started: you play the next one.", where: "staging" };

/** What was shown, as the park is asked for it. */
const shownAs = (code) => (ARMBAND.test(code) ? { armband: code } : { day_pass: code });

/** When each list was new, by the time that this page is open, which nobody sets. */
const born = new Map();
const MOST_BORN = 100;

/** How old a list is, in milliseconds; without end where the device's clock has been set back behind it. Set back by less it makes no list younger. */
export function ageOf({ as_of }) {
  const age = now() - new Date(as_of);
  if (!born.has(as_of)) {
    if (born.size >= MOST_BORN) born.delete(born.keys().next().value);
    born.set(as_of, performance.now() - Math.max(age, 0));
  }
  return age < -AHEAD_MS ? Infinity : Math.max(age, performance.now() - born.get(as_of));
}
export const tooOld = (list) => ageOf(list) > list.offline_minutes * MINUTE;

/** Nobody joins an elimination game that has started. */
export function closed(told, list) {
  const shut = told.part === "player" && list?.game?.format === "elimination" && !told.reasons.some(({ code }) => code === "already_on_field");
  return shut ? { ...told, cleared: false, reasons: [...told.reasons, GAME_CLOSED] } : told;
}

/** From the log. Raises a Refusal of status 0 where the park does not answer soon. */
export async function asked(code, field) {
  const signal = AbortSignal.timeout(WAITS_MS);
  const shown = shownAs(code);
  try {
    const who = await whoShows(shown, signal);
    const told = await get(`/clearance/players/${encodeURIComponent(who.player)}`, { field, day_pass: shown.day_pass }, signal);
    mustBe(who.player && Array.isArray(told?.reasons));
    return { ...who, cleared: told.cleared, reasons: told.reasons, knew: null };
  } catch (error) {
    if (signal.aborted) throw new Refusal(0, "The park does not answer.");
    if (!(error instanceof Refusal) || error.passing || error.status === 401 || error.status === 403) throw error;
    return { player: null, cleared: false, reasons: [no(error.message)], knew: null };
  }
}

/** From the list that is kept here. */
export async function kept(code, list, keys) {
  if (!list) return { player: null, cleared: false, reasons: [{ ...TOO_OLD, sentence: "This gate has not heard from the park yet: it knows nobody." }], knew: null };
  const knew = { epoch: list.epoch, position: list.position, as_of: list.as_of };
  try {
    const { who, replaced, unchecked } = await find(code, list, keys);
    const reasons = [...(tooOld(list) ? [TOO_OLD] : []), ...(replaced ? [no("This pass was replaced by a newer one. Take it away.")] : []), ...(who.reasons ?? []), ...(list.reasons ?? [])];
    return { ...who, part: who.part ?? "player", cleared: reasons.length === 0 && who.cleared === true, reasons, knew, unchecked };
  } catch (error) {
    if (!(error instanceof NoPass)) throw error;
    return { player: null, cleared: false, reasons: [no(error.message)], knew };
  }
}

async function find(code, list, keys) {
  const players = list.players ?? [];
  if (ARMBAND.test(code)) {
    const who = players.find((one) => one.armband === Number(code));
    if (!who) throw new NoPass(`Nobody had armband ${Number(code)} when this gate last heard from the park.`);
    return { who };
  }
  const { id, signed } = await readPass(code, list.day, keys);
  const print = await fingerprint(id);
  const who = players.find((one) => one.pass_sha256 === print || one.replaced_sha256?.includes(print));
  if (!who) throw new NoPass("Nobody had this pass when this gate last heard from the park.");
  return { who, replaced: who.pass_sha256 !== print, unchecked: !signed };
}
