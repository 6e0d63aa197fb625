/** A route: who may, what is sent, what is answered, how it can be refused. And the problem types. */
import { el, link, paragraphs, said, shown, table } from "/docs/dom.js";
import { schemaView } from "/docs/schema.js";

const follow = (node, root) => (node.$ref ? node.$ref.slice(2).split("/").reduce((found, step) => found[step], root) : node);
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

function curl(method, path, route) {
  const keyed = route["x-roles"] ? ' \\\n  -H "Authorization: Bearer $KEY"' : "";
  const body = route.requestBody?.content["application/json"]?.example;
  const written = (route.parameters ?? []).some((one) => one.$ref?.endsWith("Idempotency-Key")) ? ` \\\n  -H 'Idempotency-Key: "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"'` : "";
  const sent = body ? ` \\\n  -H "Content-Type: application/json" \\\n  -d '${JSON.stringify(body).replaceAll("'", "'\\''")}'` : "";
  return `curl -X ${method} "$SERVER${path.replace("{park}", "larchmoor")}"${keyed}${written}${sent}`;
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
    shown(curl(method, path, route)),
    parameters(route, root),
    route.requestBody ? [el("h3", {}, "What is sent"), media(route.requestBody.content, root)] : "",
    el("h3", {}, "What is answered"),
    good.map(([status, response]) => [el("p", {}, el("strong", {}, status), ": ", response.description), media(response.content, root)]),
    el("h3", {}, "How it can be refused"),
    bad.map(([status, response]) => refused(status, response, root)),
  ];
}

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
    el("ul", {}, can.map(({ href, path, method }) => el("li", {}, link(href, `${method} ${path}`)))),
  ];
}
