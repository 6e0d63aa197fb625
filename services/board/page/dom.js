/** Small builders of what every part of the page shows: elements, shapes and armbands. */

/** An element with attributes and children; absent children are left out. */
export function el(name, attributes = {}, ...children) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value !== undefined && value !== false) made.setAttribute(key, value === true ? "" : value);
  }
  made.append(...children.filter((child) => child !== undefined && child !== null && child !== false));
  return made;
}

const SVG = "http://www.w3.org/2000/svg";
const PATHS = {
  closed: "M12 12h76v76H12zM12 88 88 12",
  open: "M50 14a36 36 0 1 0 .1 0z",
  called: "M36 14 72 50 36 86",
  briefed: "M20 14 56 50 20 86M48 14 84 50 48 86",
  live: "M24 10v80l62-40z",
  "hold asked": "M34 8h32l26 26v32L66 92H34L8 66V34zM50 28v28M50 68v6",
  held: "M34 8h32l26 26v32L66 92H34L8 66V34zM40 34v32M60 34v32",
  counting: "M24 24h.1M50 24h.1M76 24h.1M24 50h.1M50 50h.1M76 50h.1M24 76h.1M50 76h.1M76 76h.1",
};

/** The shape of a field's state, beside its word. */
export function shape(state) {
  const svg = document.createElementNS(SVG, "svg");
  svg.setAttribute("viewBox", "0 0 100 100");
  svg.setAttribute("aria-hidden", "true");
  svg.setAttribute("class", `shape ${state.replace(" ", "-")}`);
  const path = document.createElementNS(SVG, "path");
  path.setAttribute("d", PATHS[state]);
  svg.append(path);
  return svg;
}

/** A strip of an armband: colour, pattern, and the colour's name for whoever cannot tell colours apart. */
export function swatch(colour) {
  return el("i", { class: `swatch ${colour.replace(" ", "-")}`, "aria-hidden": "true" });
}

/** One armband as it is seen across a field. */
export function armband({ number, colour }) {
  const name = number ? String(number) : "?";
  return el("span", { class: "armband" }, colour && swatch(colour), colour ? `${colour} ${name}` : name);
}

/** Whether nothing that can be seen has the focus. What was just hidden keeps it until the browser draws anew. */
export const unfocused = () => document.activeElement === document.body || !document.activeElement.checkVisibility();

/** A reason's code as words: `marker_not_tested` is "marker not tested". */
export const words = (code) => code.replaceAll("_", " ");

/** Minutes and seconds; negative ones are told apart by the caller. */
export function minutes(seconds) {
  const whole = Math.floor(Math.abs(seconds));
  return `${String(Math.floor(whole / 60)).padStart(2, "0")}:${String(whole % 60).padStart(2, "0")}`;
}
