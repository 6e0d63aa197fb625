/** A route: who may, what is sent, what is answered, how it can be refused. And the problem types. */
import { el, link, paragraphs, said, shown, table } from "/docs/dom.js";
import { schemaView } from "/docs/schema.js";

export const follow = (node, root) => (node.$ref ? node.$ref.slice(2).split("/").reduce((found, step) => found[step], root) : node);
export const problemLink = (uri) => link(`#${uri}`, uri.split("/").at(-1));

function rights(route) {
  if (!route["x-roles"]) return el("p", {}, "Anybody may, without a key.");
  return el("p", {}, "A device with one of these roles: ", el("strong", { class: "roles" }, route["x-roles"].join(", ")), ".");
}

function parameters(route, root) {
  const rows = (route.parameters ?? []).map((one) => follow(one, root));
  if (rows.length === 0) return "";
  return [
    el("h3", {}, "Parameters and headers"),
    table(["Name", "Where", "What"], rows.map((one) => [
      [el("code", {}, one.name), el("div", { class: one.required ? "must" : "may" }, one.required ? "must be there" : "may be absent")],
      one.in,
      [el("p", {}, said(one.description)), schemaView(one.schema, root)],
    ])),
  ];
}

function media(content, root) {
  return Object.entries(content ?? {}).map(([name, { schema, example }]) => [
    el("p", {}, el("code", {}, name)),
    example === undefined ? "" : [el("h4", {}, "Example"), shown(example)],
    el("details", {}, el("summary", {}, "Every field"), el("div", { class: "inner" }, schemaView(schema, root))),
  ]);
}

function refused(status, response, root) {
  const { schema, examples } = response.content["application/problem+json"];
  return [
    el("h4", {}, `${status}: `, schema.allOf[1].properties.type.enum.map((uri, index) => [index ? ", " : "", problemLink(uri)])),
    el("details", {}, el("summary", {}, "Examples"), Object.values(examples).map((one) => shown(follow(one, root).value))),
  ];
}

const quoted = (text) => `'${text.replaceAll("'", "'\\''")}'`;

/** As it can be copied into a shell: each time it is sent it is a write of its own. */
function curl(root, method, path, route) {
  const asked = (route.parameters ?? []).map((one) => follow(one, root));
  const query = asked.filter((one) => one.in === "query" && one.required).map((one) => `${one.name}=${one.schema.examples?.[0] ?? `<${one.name}>`}`);
  const [media, sent] = Object.entries(route.requestBody?.content ?? {})[0] ?? [];
  const lines = [`curl -X ${method} "$SERVER${path.replace("{park}", "larchmoor")}${query.length ? `?${query.join("&")}` : ""}"`];
  if (route["x-roles"]) lines.push('-H "Authorization: Bearer $KEY"');
  if (asked.some((one) => one.name === "Idempotency-Key")) lines.push('-H "Idempotency-Key: \\"$(cat /proc/sys/kernel/random/uuid)\\""');
  if (media) lines.push(`-H "Content-Type: ${media}"`);
  if (media === "application/json") lines.push(`-d ${quoted(JSON.stringify(sent.example))}`);
  if (!media || media === "application/json") return lines.join(" \\\n  ");
  const text = typeof sent.example === "string" ? sent.example.trimEnd() : JSON.stringify(sent.example);
  return `printf '%s\\n' ${quoted(text)} | ${[...lines, "--data-binary @-"].join(" \\\n  ")}`;
}

/** One route, whole. */
export function routeView(root, { path, method, route }) {
  const answers = Object.entries(route.responses).map(([status, response]) => [status, follow(response, root)]);
  const good = answers.filter(([, response]) => !response.content?.["application/problem+json"]);
  const bad = answers.filter(([, response]) => response.content?.["application/problem+json"]);
  return [
    el("h2", {}, el("span", { class: "way" }, method), " ", el("code", {}, path)),
    el("p", {}, said(route.summary)),
    paragraphs(route.description),
    rights(route),
    route["x-fact"] ? el("p", { class: "note" }, "A fact: it has happened, so it is recorded whatever the state and however late.") : "",
    el("h3", {}, "Try it"),
    shown(curl(root, method, path, route)),
    parameters(route, root),
    route.requestBody ? [el("h3", {}, "What is sent"), media(route.requestBody.content, root)] : "",
    el("h3", {}, "What is answered"),
    good.map(([status, response]) => [el("p", {}, el("strong", {}, status), ": ", response.description), media(response.content, root)]),
    el("h3", {}, "How it can be refused"),
    bad.map(([status, response]) => refused(status, response, root)),
  ];
}

/** One reason for which somebody is not cleared, or something not done. */
export function reasonView({ code, sentence, where }) {
  return [
    el("h2", {}, el("code", {}, code)),
    el("h3", {}, "What the person is told"),
    el("p", {}, sentence, " What this very case adds, such as a number or a time, may follow it."),
    el("h3", {}, "Where it is cleared"),
    el("p", { class: "note" }, where),
    el("p", {}, "The code stays; the sentence may be worded anew. Treat a code that you do not know as a no."),
  ];
}

/** Of a problem that no route answers with: it stands in a batch's verdicts, or comes before there is any route. */
const nowhere = ({ status }) => (status === 405 ? el("p", {}, "Every path, for a method that it does not take.") : el("p", {}, "It stands in the verdict of one line of ", link("#/http/batch", "POST /parks/{park}/batch"), "."));

/** One problem type, and every route that can answer it. */
export function problemView(root, problem, routes) {
  const can = routes.filter(({ route }) => Object.values(route.responses).some((one) => JSON.stringify(follow(one, root)).includes(`"${problem.type}"`)));
  return [
    el("h2", {}, el("span", { class: "way" }, String(problem.status)), " ", problem.title),
    el("p", {}, el("code", {}, problem.type)),
    el("h3", {}, "What to do"),
    el("p", { class: "note" }, said(problem.remedy)),
    el("h3", {}, "As it may be read"),
    shown(root.components.examples[problem.type.split("/").at(-1)]?.value ?? problem.sample),
    el("h3", {}, "Who can answer so"),
    can.length ? el("ul", {}, can.map(({ href, path, method }) => el("li", {}, link(href, `${method} ${path}`)))) : nowhere(problem),
  ];
}
