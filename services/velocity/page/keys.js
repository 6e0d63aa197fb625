/** What a person or a scanner enters: a marker, a reading, a pair of a check, or a letter that stands for something to do. */

import { typed } from "./speeds.js";

export const MISREADS = [
  ["no_shot", "no shot"],
  ["double_trigger", "double trigger"],
  ["beam_lost", "beam lost"],
  ["impossible", "cannot be true"],
];
export const WORKS = [
  ["battery", "battery"],
  ["sensor", "sensor cleaned or changed"],
  ["moved", "moved"],
  ["repair", "repaired"],
  ["settings", "settings"],
  ["other", "something else"],
];

const NAME = /^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$/;
const FASTEST_FPS = 2000;

/**
 * What an entry means. A scanner is a keyboard: it types a name and Enter. A number is a reading while a string is open, and a marker otherwise;
 * `N 31` is the marker 31 in any case. M1 to M4 are misreads, with the speed that was shown behind them: `M2 301`.
 */
export function meaning(entry, { open, checking, unit }) {
  const text = entry.trim();
  const letter = text.toUpperCase();
  if (text === "") return { act: "enter" };
  const named = /^n\s+(\S+)$/i.exec(text);
  if (named) return { act: "marker", marker: named[1] };
  if (["L", "A", "T", "R", "C", "S", "W", "M"].includes(letter)) return { act: letter };
  const misread = /^m([1-4])(?:\s+(.+))?$/i.exec(text);
  if (misread && open && !checking) {
    const speed = misread[2] === undefined ? null : typed(misread[2], unit);
    if (misread[2] === undefined || speed !== null) return { act: "misread", kind: MISREADS[misread[1] - 1][0], speed };
  }
  const work = /^w([1-6])$/i.exec(text);
  if (work) return { act: "work", work: WORKS[work[1] - 1][0] };
  if (checking) return pair(text, unit);
  const speed = typed(text, unit);
  if (open && speed !== null) return speed > FASTEST_FPS ? { act: "nothing", why: `No shot is as fast as ${text}. Type what the chronograph showed, or M4 if it cannot be true.` } : { act: "reading", speed };
  if (!NAME.test(text)) return { act: "nothing", why: `${text} is neither a reading nor a marker's name. Nothing was recorded: type it again.` };
  return { act: "marker", marker: text };
}

function pair(text, unit) {
  const parts = text.split(/\s+|\s*[/;]\s*/).filter(Boolean);
  const speeds = parts.map((part) => typed(part, unit));
  if (speeds.length === 2 && !speeds.includes(null)) return { act: "pair", reading: speeds[0], reference: speeds[1] };
  return { act: "nothing", why: "Enter what both read of the same shot: the chronograph, a space, the reference. Such as 281.4 280.9." };
}
