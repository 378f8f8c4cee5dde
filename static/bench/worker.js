// Serves the scan station while the network is gone: its page as it last came, and the files that never change. It
// reaches nothing outside of /bench. When a tablet is locked, the page of the person who left is forgotten.

const PAGE = "bench-page";
const FILES = "bench-files";
const PATIENCE = 4000; // milliseconds

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (origin !== self.location.origin) return;
  if (request.method === "GET" && pathname.startsWith("/static/")) event.respondWith(file(request));
  else if (request.method === "GET" && request.mode === "navigate" && pathname === "/bench") event.respondWith(page(event));
});

// An address with its digest never means anything else; what a script imports has none and is asked for again.
async function file(request) {
  const files = await caches.open(FILES);
  const kept = await files.match(request);
  if (kept && new URL(request.url).searchParams.has("v")) return kept;
  try {
    const answer = await fetch(request);
    if (answer.ok) await files.put(request, answer.clone());
    return answer;
  } catch (failure) {
    if (kept) return kept;
    throw failure;
  }
}

async function page(event) {
  const pages = await caches.open(PAGE);
  try {
    const answer = await fetch(event.request, { signal: AbortSignal.timeout(PATIENCE) });
    // A redirect leads to the sign-on page: nobody is signed on any more.
    if (answer.ok) await pages.put("/bench", answer.clone());
    else if (answer.type === "opaqueredirect") await caches.delete(PAGE);
    return answer;
  } catch (failure) {
    const kept = await pages.match("/bench");
    if (kept) return kept;
    throw failure;
  }
}
