/** Keeps the handheld's page and the gate's on the device: they open without a network. It keeps files only, and nothing of what the park answers. */

const KEPT = "handheld page";
const FILES = [
  "handheld", "page/handheld.css", "page/handheld.js", "page/hands.js", "page/log.js", "page/sheets.js", "page/show.js", "page/since.js", "page/starting.js",
  "gate-station", "gate-station/answer.js", "gate-station/gate.css", "gate-station/gate.js", "gate-station/keeping.js", "gate-station/letting.js", "gate-station/pass.js", "gate-station/show.js",
  "../page/follow.js", "../page/park.js", "../page/scan.js", "../page/sign-in.js", "../page/station.js", "../board/dom.js", "../board/icon.svg",
].map((name) => new URL(name, self.location).pathname);

const WAITS_MS = 1500;
const LOST_MS = 30_000;
let lostAt = -Infinity;

/** Whether it is the park's own answer: a proxy before it may say what it likes, also under 200. */
const ours = (answer) => answer.headers.has("X-Request-Id");

self.addEventListener("install", (event) => {
  self.skipWaiting();
  event.waitUntil(Promise.all(FILES.map(keepOne)));
});

async function keepOne(path) {
  const answer = await fetch(path);
  if (!answer.ok || !ours(answer)) throw new Error(`The park does not answer for ${path}.`);
  await (await caches.open(KEPT)).put(path, answer);
}

self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("fetch", (event) => {
  const path = new URL(event.request.url).pathname;
  if (event.request.method === "GET" && FILES.includes(path)) event.respondWith(newest(event.request, path));
});

/** The park's file while it answers soon, else the one that was kept: without a network, before a park that hangs, and where a proxy speaks in its place. */
async function newest(request, path) {
  const cache = await caches.open(KEPT);
  const kept = await cache.match(path);
  const coming = fetch(request).then(async (answer) => {
    lostAt = -Infinity;
    if (answer.ok && ours(answer)) await cache.put(path, answer.clone());
    return answer;
  });
  if (!kept) return coming;
  const answer = await Promise.race([coming.catch(() => null), late(coming)]);
  return answer && ours(answer) && answer.status < 500 ? answer : kept;
}

/** Nothing, after some seconds without an answer; once that came about the other files of a page are not waited for. */
function late(coming) {
  const waits = performance.now() - lostAt < LOST_MS ? 0 : WAITS_MS;
  return new Promise((resolve) => {
    const over = setTimeout(() => {
      lostAt = performance.now();
      resolve(null);
    }, waits);
    coming.catch(() => {}).then(() => clearTimeout(over));
  });
}
