/** The chart of a chronograph's checks: each check's value, the moving mean, and the limits of both; told in words as well. */

import { asRead, readIn } from "./speeds.js";

const SVG = "http://www.w3.org/2000/svg";
const WIDTH = 400;
const HEIGHT = 210;
const LEFT = 44;
const RIGHT = 8;
const TOP = 10;
const BOTTOM = 20;
const MOST = 24;

function draw(name, attributes, ...children) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.append(...children);
  return made;
}

/** Whether a check neither opens nor closes it: too few shots, and nothing amiss. */
const idle = (point) => !point.good && point.signals.every((signal) => signal === "too_few");

/** The newest checks as a picture. A person's word, and what decides nothing, are hollow; where there is no value, on the centre line. */
export function chart(view, clock) {
  const points = view.checks.slice(-MOST);
  const known = points.flatMap((point) => [point.bias_fps, point.mean_fps, point.single_limit_fps].filter((one) => one !== undefined).map(Math.abs));
  const reach = Math.max(view.bias_limit_fps, ...known) * 1.15;
  const x = (at) => LEFT + ((at + 0.5) * (WIDTH - LEFT - RIGHT)) / Math.max(points.length, 1);
  const y = (value) => TOP + ((reach - value) * (HEIGHT - TOP - BOTTOM)) / (2 * reach);
  const line = (kind, pairs) => draw("path", { class: kind, d: pairs.map(([at, value], first) => `${first ? "L" : "M"}${x(at).toFixed(1)} ${y(value).toFixed(1)}`).join("") });
  const across = (kind, value, text) => [
    draw("path", { class: kind, d: `M${LEFT} ${y(value)}H${WIDTH - RIGHT}` }),
    draw("text", { class: "scale", x: LEFT - 6, y: y(value) + 5 }, text),
  ];
  const signed = (value) => `${value < 0 ? "−" : value > 0 ? "+" : ""}${asRead(Math.abs(value), view.unit)}`;
  const held = points.map((point, at) => ({ ...point, index: at })).filter((point) => point.mean_fps !== undefined);
  const picture = draw("svg", { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, role: "img", "aria-label": words(view, clock) });
  picture.append(...across("zero", 0, "0"), ...across("rule", view.bias_limit_fps, signed(view.bias_limit_fps)), ...across("rule", -view.bias_limit_fps, signed(-view.bias_limit_fps)));
  for (const side of [1, -1]) {
    picture.append(line("single", held.map((point) => [point.index, side * point.single_limit_fps])));
    picture.append(line("mean-limit", held.map((point) => [point.index, side * point.mean_limit_fps])));
  }
  picture.append(line("mean", held.map((point) => [point.index, point.mean_fps])));
  points.forEach((point, at) => {
    const value = point.bias_fps ?? 0;
    const place = `translate(${x(at).toFixed(1)} ${y(value).toFixed(1)})`;
    if (!point.good && !idle(point)) picture.append(draw("path", { class: "bad", transform: place, d: "M-8-8 8 8M-8 8 8-8" }));
    else picture.append(draw("circle", { class: point.mean_fps === undefined ? "word" : "good", transform: place, r: 5 }));
  });
  if (points.length > 0) {
    picture.append(draw("text", { class: "time first", x: LEFT, y: HEIGHT - 4 }, clock(points[0].at)));
    picture.append(draw("text", { class: "time last", x: WIDTH - RIGHT, y: HEIGHT - 4 }, clock(points.at(-1).at)));
  }
  return picture;
}

const BEYOND = { bias: "further off than the rule allows", shewhart: "beyond the limits of a single check", ewma: "the moving mean is beyond its limits", person: "closed by a person", too_few: "too few shots" };

/** The same in words. */
export function words(view, clock) {
  const last = view.checks.at(-1);
  if (!last) return "No check since the last work, or ever.";
  const unit = readIn(view.unit);
  const off = (value) => (Math.abs(value) < 0.05 ? "even with the reference" : `${asRead(Math.abs(value), view.unit)} ${unit} ${value > 0 ? "high" : "low"}`);
  const parts = [`Last check ${clock(last.at)}: ${last.bias_fps === undefined ? "a person's word" : off(last.bias_fps)}, ${last.good ? "good" : idle(last) ? "decides nothing" : "NOT GOOD"}`];
  if (!last.good) parts.push(last.signals.map((signal) => BEYOND[signal]).join("; "));
  if (last.mean_fps !== undefined) parts.push(`moving mean ${off(last.mean_fps)}`);
  return `${parts.filter(Boolean).join("; ")}.`;
}
