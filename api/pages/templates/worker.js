/* Keeps the way down ready. Kept pages are shown at once and renewed behind; nothing of a case is ever kept. */
const NAME = "hoistlore-{{ version }}";
const KEPT = {{ kept | safe }};

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(NAME).then((cache) => cache.addAll(KEPT)).then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  const old = (names) => Promise.all(names.filter((name) => name !== NAME).map((name) => caches.delete(name)));
  event.waitUntil(caches.keys().then(old).then(() => self.clients.claim()));
});

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== location.origin) return;
  if (KEPT.includes(url.pathname + url.search) || KEPT.includes(url.pathname)) {
    event.respondWith(kept(event.request));
  } else if (event.request.mode === "navigate") {
    event.respondWith(fetch(event.request).catch(() => away(url)));
  }
});

async function kept(request) {
  const cache = await caches.open(NAME);
  return (await cache.match(request, { ignoreVary: true })) || fetch(request);
}

/* Without a connection: the way down for whoever asked for it, else a page that says so. */
async function away(url) {
  const cache = await caches.open(NAME);
  const given = url.pathname.split("/")[1];
  const tag = KEPT.includes(`/${given}/`) ? given : "en";
  const page = url.pathname === "/" ? "" : url.pathname.endsWith("/down") ? "down" : "offline";
  return cache.match(`/${tag}/${page}`, { ignoreVary: true });
}
