/** Keeps the handheld's page and the gate's on the device: they open without a network. It keeps files only, and nothing of what the park answers. */

const KEPT = "handheld page";
const FILES = [
  "handheld", "page/handheld.css", "page/handheld.js", "page/hands.js", "page/log.js", "page/sheets.js", "page/show.js", "page/since.js", "page/starting.js",
  "gate-station", "gate-station/answer.js", "gate-station/gate.css", "gate-station/gate.js", "gate-station/keeping.js", "gate-station/letting.js", "gate-station/pass.js", "gate-station/show.js",
  "../page/follow.js", "../page/park.js", "../page/scan.js", "../page/sign-in.js", "../board/dom.js", "../board/icon.svg",
].map((name) => new URL(name, self.location).pathname);

self.addEventListener("install", (event) => {
  self.skipWaiting();
  event.waitUntil(caches.open(KEPT).then((cache) => cache.addAll(FILES)));
});
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("fetch", (event) => {
  const path = new URL(event.request.url).pathname;
  if (event.request.method === "GET" && FILES.includes(path)) event.respondWith(newest(event.request, path));
});

/** The server's file while it answers, else the one that was kept. */
async function newest(request, path) {
  const cache = await caches.open(KEPT);
  try {
    const answer = await fetch(request);
    if (answer.ok) await cache.put(path, answer.clone());
    return answer;
  } catch (error) {
    const kept = await cache.match(path);
    if (kept) return kept;
    throw error;
  }
}
