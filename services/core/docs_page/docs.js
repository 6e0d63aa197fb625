/** The page of both documents: what they hold as a list that can be searched, and one of it in full, under an address of its own. */
import { channelView } from "/docs/bus.js";
import { el, link, said } from "/docs/dom.js";
import { follow, problemView, reasonView, routeView } from "/docs/http.js";
import { namesIn } from "/docs/schema.js";

/** Pixels from which on the list stands beside the text. */
const BESIDE = 960;
const list = document.querySelector("#list");
const main = document.querySelector("#shown");
const search = document.querySelector("#search");

async function read(name) {
  const answer = await fetch(`/docs/${name}`);
  if (!answer.ok) throw new Error(`/docs/${name} was answered with ${answer.status}.`);
  return answer.json();
}

/** Every route of the OpenAPI document. */
function routesOf(root) {
  return Object.entries(root.paths).flatMap(([path, ways]) =>
    Object.entries(ways).map(([way, route]) => ({ path, method: way.toUpperCase(), route, href: `#/http/${route.operationId}` })),
  );
}

const isPart = ({ route }) => Object.keys(route.responses["200"]?.content ?? {}).some((media) => /css|javascript|svg/.test(media));
const groupOf = (path) => path.replace("/parks/{park}/", "").split("/").filter(Boolean)[0] ?? "home";

/** What the list holds: a title, a group, an address, the words by which it is found, and how it is shown in full. */
function entries(http, bus, routes) {
  const asked = (route) => (route.parameters ?? []).map((one) => follow(one, http).name);
  const written = (route) => namesIn(route.requestBody?.content["application/json"]?.schema ?? {}, http);
  return [
    ...routes.filter((one) => !isPart(one)).map((one) => ({
      group: `HTTP: ${groupOf(one.path)}`,
      title: `${one.method} ${one.path.replace("/parks/{park}", "…")}`,
      href: one.href,
      words: [one.method, one.path, one.route.summary, one.route.description, ...(one.route["x-roles"] ?? ["anybody"]), ...asked(one.route), ...written(one.route), ...Object.keys(one.route.responses)],
      view: () => routeView(http, one),
    })),
    ...Object.entries(bus.channels).map(([name, channel]) => ({
      group: channel["x-jetstream"] ? `Bus: ${name.includes(".") ? name.split(".")[0] : "checkpoints"}` : "Streams and webhooks",
      title: name,
      href: `#/${channel["x-jetstream"] ? "events" : "streams"}/${name}`,
      words: [name, channel.address, channel.summary, channel.description],
      view: () => channelView(bus, name),
    })),
    ...http["x-problems"].map((problem) => ({
      group: "Problems",
      title: problem.type.split("/").at(-1),
      href: `#${problem.type}`,
      words: [problem.type, problem.title, problem.remedy, String(problem.status)],
      view: () => problemView(http, problem, routes),
    })),
    ...http["x-reasons"].map((reason) => ({
      group: "Reasons for a no",
      title: reason.code,
      href: `#/reasons/${reason.code}`,
      words: [reason.code, reason.sentence, reason.where],
      view: () => reasonView(reason),
    })),
  ].map((one) => ({ ...one, words: one.words.filter(Boolean).join(" ").toLowerCase() }));
}

function draw(found) {
  const groups = grouped(found);
  list.replaceChildren(
    ...[...groups].map(([group, ones]) =>
      el("section", {}, el("h2", {}, group), el("ul", {}, ones.map(({ href, title }) => el("li", {}, el("a", { href, "aria-current": href === location.hash ? "page" : null }, title))))),
    ),
  );
  document.querySelector("#count").textContent = found.length === 1 ? "1 found" : `${found.length} found`;
}

function grouped(found) {
  const groups = new Map();
  for (const one of found) groups.set(one.group, [...(groups.get(one.group) ?? []), one]);
  return groups;
}

function home(http, bus) {
  return [
    el("h2", {}, "What a station or a back office builds on"),
    el("p", {}, said(http.info.description)),
    el("p", {}, said(bus.info.description)),
    el("p", {}, "The documents themselves: ", link("/docs/openapi.json", "OpenAPI 3.1"), ", ", link("/docs/asyncapi.json", "AsyncAPI 3.0"), ", ", link("/problems", "the problem types"), ". The JSON Schema of an event lies at ", el("code", {}, "/docs/events/<service>.<event>.v<version>.json"), "."),
    el("p", {}, "This page asks for nothing from anywhere but the park's own server. The key / goes to the search."),
  ];
}

async function start() {
  const [http, bus] = await Promise.all([read("openapi.json"), read("asyncapi.json")]);
  const routes = routesOf(http);
  const all = entries(http, bus, routes);
  const found = () => {
    const words = search.value.toLowerCase().split(/\s+/).filter(Boolean);
    return all.filter((one) => words.every((word) => one.words.includes(word)));
  };
  async function show() {
    const asked = decodeURIComponent(location.hash);
    const one = all.find(({ href }) => href === asked);
    const view = one ? await one.view() : asked.length > 2 ? [el("h2", {}, "There is no such thing here"), el("p", {}, asked)] : home(http, bus);
    if (asked !== decodeURIComponent(location.hash)) return;
    document.title = `${one ? one.title : "the contracts"} · Fieldledger`;
    main.replaceChildren(...view.flat(Infinity).filter(Boolean));
    if (innerWidth > BESIDE || asked.length <= 2) scrollTo(0, 0);
    else main.scrollIntoView();
    for (const anchor of list.querySelectorAll("a")) {
      if (anchor.getAttribute("href") === asked) anchor.setAttribute("aria-current", "page");
      else anchor.removeAttribute("aria-current");
    }
  }
  search.addEventListener("input", () => draw(found()));
  search.addEventListener("keydown", (event) => {
    if (event.key === "Enter" && found().length > 0) location.hash = found()[0].href;
  });
  addEventListener("keydown", (event) => {
    if (event.key === "/" && event.target !== search) {
      event.preventDefault();
      search.focus();
    }
  });
  document.querySelector(".skip").addEventListener("click", (event) => {
    event.preventDefault(); // the part behind # is the address of what is shown
    main.focus();
  });
  addEventListener("hashchange", async () => {
    await show();
    main.focus({ preventScroll: true }); // keys scroll what was asked for, and Tab goes on within it
  });
  draw(found());
  await show();
}

start().catch((error) => main.replaceChildren(el("h2", {}, "The documents cannot be read"), el("p", {}, `${error.message} Load the page again.`)));
