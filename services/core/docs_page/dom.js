/** Elements of a page; every text is text, never markup. */
export function el(name, given = {}, ...children) {
  const made = document.createElement(name);
  for (const [attribute, value] of Object.entries(given)) if (value !== undefined && value !== null) made.setAttribute(attribute, value);
  made.append(...children.flat(Infinity).filter((child) => child !== null && child !== undefined && child !== ""));
  return made;
}

/** Text in which what stands between backticks is code. */
export const said = (text) => (text ?? "").split("`").map((part, index) => (index % 2 ? el("code", {}, part) : part));

export const paragraphs = (text) => (text ?? "").split(/\n\n+/).filter(Boolean).map((part) => el("p", {}, said(part)));

/** A value as it may be sent or read. */
export const shown = (value) => el("pre", { tabindex: "0" }, typeof value === "string" ? value : JSON.stringify(value, null, 2));

export function table(heads, rows) {
  return el(
    "table",
    {},
    el("thead", {}, el("tr", {}, heads.map((head) => el("th", { scope: "col" }, head)))),
    el("tbody", {}, rows.map((cells) => el("tr", {}, cells.map((cell) => el("td", {}, cell))))),
  );
}

export const link = (href, text) => el("a", { href }, text);
