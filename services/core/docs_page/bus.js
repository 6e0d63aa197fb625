/** A channel: where it is heard, and each message that comes there. */
import { el, link, paragraphs, said, shown } from "/docs/dom.js";
import { schemaView } from "/docs/schema.js";

const follow = (reference, root) => reference.slice(2).split("/").reduce((found, step) => found[step], root);

function place(channel) {
  const stream = channel["x-jetstream"];
  const where = channel.servers?.[0]?.$ref.split("/").at(-1);
  if (stream) return [`On the bus, in the stream `, el("code", {}, stream.stream), `; its sequence is ${stream.sequence}.`];
  return where === "receiver" ? "Sent by POST to the address that the webhook was opened with." : "A stream without end, by GET from the park's server.";
}

/** The schema of an event's data lies in a file of its own. */
async function data(reference) {
  const path = reference.replace(/^\.\//, "/docs/");
  const answer = await fetch(path);
  if (!answer.ok) return [el("p", {}, `${path} cannot be read.`)];
  const schema = await answer.json();
  return [el("h4", {}, "Its data: ", link(path, path.split("/").at(-1))), schemaView(schema, schema)];
}

async function message(root, name, { $ref }, heard) {
  const one = follow($ref, root);
  const file = one["x-json"]?.allOf[1].properties.data.$ref;
  const payload = follow(one.payload.$ref, root).schema;
  const headers = one.headers && follow(one.headers.$ref, root).schema;
  const text = one.examples[0].payload;
  return [
    el("h3", { id: name }, one.title ?? name),
    el("p", {}, one.summary === heard ? "" : [...said(one.summary), " "], el("code", {}, one.contentType)),
    file ? await data(file) : "",
    el("h4", {}, "Example"),
    shown(text),
    el("details", {}, el("summary", {}, file ? "The message itself" : "Every field"), schemaView(payload, payload)),
    headers ? el("details", {}, el("summary", {}, "Headers"), schemaView(headers, headers)) : "",
  ];
}

/** One channel, whole; the newest version first. */
export async function channelView(root, name) {
  const channel = root.channels[name];
  const told = Object.entries(channel.messages).reverse();
  return [
    el("h2", {}, el("code", {}, channel.address ?? name)),
    el("p", {}, said(channel.summary)),
    paragraphs(channel.description),
    el("p", { class: "note" }, place(channel)),
    await Promise.all(told.map(([one, reference]) => message(root, one, reference, channel.summary))),
  ];
}
