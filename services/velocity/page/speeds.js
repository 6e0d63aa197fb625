/** Speeds as the park shows them. The record keeps ft/s; the foot is 0.3048 m, exactly. */

const FOOT_M = 0.3048;

export const UNITS = { fps: "ft/s", mps: "m/s", joules: "J" };

/** What a speed in ft/s is in the park's unit, for a ball of a mass in grams; as text. */
export function shown(fps, unit, ballG) {
  if (unit === "mps") return (fps * FOOT_M).toFixed(1);
  if (unit === "joules" && ballG) return ((ballG / 2000) * (fps * FOOT_M) ** 2).toFixed(2);
  return trimmed(fps);
}

/** A difference of speeds; joules depend on where they begin, so there it is in ft/s. */
export function difference(fps, unit) {
  return unit === "mps" ? `${(fps * FOOT_M).toFixed(1)} m/s` : `${Math.round(fps)} ft/s`;
}

/** In the unit in which chronographs of this park are read: m/s where the park shows those, else ft/s. */
export const asRead = (fps, unit) => (unit === "mps" ? (fps * FOOT_M).toFixed(1) : trimmed(fps));
export const readIn = (unit) => (unit === "mps" ? "m/s" : "ft/s");

/** A speed as it is typed, `281.4`, `281,4`, `281.4 fps` or `85.8 m/s`, in ft/s; null where it is none. Without a unit it is the park's. */
export function typed(text, unit) {
  const found = /^(\d{1,4}(?:[.,]\d{1,3})?)\s*(fps|ft\/s|m\/s)?$/i.exec(text.trim());
  if (!found) return null;
  const number = Number(found[1].replace(",", "."));
  const inMetres = found[2] ? found[2].toLowerCase() === "m/s" : unit === "mps";
  return inMetres ? number / FOOT_M : number;
}

const trimmed = (number) => String(Math.round(number * 10) / 10);
