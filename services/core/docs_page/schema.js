/** A JSON Schema in words: each field with its type, its limits and what it means; what lies deeper opens at a touch. */
import { el, said } from "/docs/dom.js";

const LIMITS = {
  minimum: "at least #", exclusiveMinimum: "more than #", maximum: "at most #", exclusiveMaximum: "less than #",
  minLength: "at least # letters", maxLength: "at most # letters", minItems: "at least # of them", maxItems: "at most # of them",
};

/** What a reference in `root` leads to, and its name. */
function followed(schema, root) {
  if (!schema?.$ref?.startsWith("#/")) return [schema, ""];
  const steps = schema.$ref.slice(2).split("/");
  return [steps.reduce((found, step) => found?.[step], root) ?? {}, steps.at(-1).split(".").at(-1)];
}

const isNull = (schema) => schema.type === "null";

/** A type in a few words. */
export function type(schema, root) {
  const [found, name] = followed(schema, root);
  if (name) return found.enum ? values(found) : name;
  if (found.const !== undefined) return JSON.stringify(found.const);
  if (found.enum) return values(found);
  if (found.anyOf) return found.anyOf.map((one) => (isNull(one) ? "null" : type(one, root))).join(" or ");
  if (found.type === "array") return found.prefixItems ? `list of ${found.prefixItems.map((one) => type(one, root)).join(", ")}` : `list of ${type(found.items ?? {}, root)}`;
  if (found.type === "object" && typeof found.additionalProperties === "object") return `object of ${type(found.additionalProperties, root)}`;
  return found.format ?? found.type ?? "anything";
}

const values = (schema) => schema.enum.map((value) => JSON.stringify(value)).join(" | ");

function limits(schema) {
  const told = Object.entries(LIMITS).filter(([word]) => schema[word] !== undefined).map(([word, says]) => says.replace("#", schema[word]));
  if (schema.pattern) told.push(`of the form \`${schema.pattern}\``);
  if (schema.default !== undefined) told.push(`${JSON.stringify(schema.default)} when absent`);
  return told.join("; ");
}

/** The schemas below a schema that have fields of their own. */
function deeper(schema, root, name = "") {
  const [found, here] = followed(schema, root);
  if (found?.properties) return [[here || name, found]];
  const parts = [...(found?.anyOf ?? []), ...(found?.allOf ?? []), ...(found?.prefixItems ?? []), found?.items, found?.additionalProperties];
  return parts.filter((part) => part && typeof part === "object").flatMap((part) => deeper(part, root, here || name));
}

function field(name, schema, must, root, within) {
  const [found] = followed(schema, root);
  const rules = [...new Set([found, ...(found.anyOf ?? []).map((one) => followed(one, root)[0]), { default: schema.default }].map(limits))].filter(Boolean).join("; ");
  const about = found.description ?? found.anyOf?.map((one) => followed(one, root)[0].description).find(Boolean);
  const inside = deeper(schema, root).filter(([inner]) => !within.includes(inner));
  return el(
    "tr",
    {},
    el("th", { scope: "row" }, el("code", {}, name), el("div", { class: must ? "must" : "may" }, must ? "must be there" : "may be absent")),
    el(
      "td",
      {},
      el("code", {}, type(schema, root)),
      about ? el("p", {}, said(about)) : "",
      rules ? el("p", {}, said(rules)) : "",
      inside.map(([inner, one]) => el("details", {}, el("summary", {}, inner || name), el("div", { class: "inner" }, fields(one, root, [...within, inner])))),
    ),
  );
}

/** Every field of an object. */
function fields(schema, root, within = []) {
  const must = new Set(schema.required ?? []);
  const rows = Object.entries(schema.properties ?? {}).map(([name, one]) => field(name, one, must.has(name), root, within));
  return [
    schema.description ? el("p", {}, said(schema.description)) : "",
    el("table", {}, el("tbody", {}, rows)),
    schema.additionalProperties === false ? el("p", {}, "A field of another name is refused.") : "",
  ];
}

/** A schema, whole. `root` is the document that its references are of. */
export function schemaView(schema, root) {
  const inside = deeper(schema, root);
  if (inside.length === 0) {
    const [found] = followed(schema, root);
    return el("div", {}, el("p", {}, el("code", {}, type(schema, root))), found.description ? el("p", {}, said(found.description)) : "", el("p", {}, said(limits(found))));
  }
  return el("div", {}, el("p", {}, el("code", {}, type(schema, root))), inside.map(([name, one]) => fields(one, root, [name])));
}

/** The names of all fields that a schema has at first sight, for the search. */
export const namesIn = (schema, root) => deeper(schema, root).flatMap(([, one]) => Object.keys(one.properties ?? {}));
