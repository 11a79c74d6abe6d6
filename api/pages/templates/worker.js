/* Keeps the way down ready, and what was said while the connection was off. Of a case only the steps of a mechanism
   that is confirmed are kept, while somebody is up; of the staff's pages only that of a survey. */
importScripts("/static/shelf.js?v={{ version }}");

const NAME = "hoistlore-{{ version }}";
const STEPS = "hoistlore-steps";
const KEPT = {{ kept | safe }};
const SURVEY = /^\/[^/]+\/staff\/survey\/[0-9a-f]+$/;
const STOPPING = [401, 403, 429, 502, 503, 504];
const LATER_MS = 60000;
const AWAY = [502, 503, 504];
const LONGEST_MS = 6000;

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(NAME).then((cache) => cache.addAll(KEPT)).then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  const live = [NAME, STEPS, SURVEYS];
  const old = (names) => names.filter((name) => !live.includes(name)).map((name) => caches.delete(name));
  event.waitUntil(caches.keys().then((names) => Promise.all(old(names))).then(() => self.clients.claim()));
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (url.origin !== location.origin) return;
  if (url.pathname.split("/")[2] === "staff") {
    if (request.mode === "navigate" && SURVEY.test(url.pathname)) event.respondWith(surveyed(request, url));
    return;
  }
  if (request.method === "POST" && request.mode === "navigate") event.respondWith(sayOrKeep(request, url));
  if (request.method !== "GET") return;
  if (KEPT.includes(url.pathname + url.search) || KEPT.includes(url.pathname)) {
    event.respondWith(kept(request));
  } else if (request.mode === "navigate") {
    event.respondWith(answered(request).catch(() => away(url)));
  }
});

self.addEventListener("message", (event) => {
  if (event.data === "send") event.waitUntil(sendKept());
  if (event.data.form_key) event.waitUntil(sendPhotos(event.data.form_key));
});
self.addEventListener("sync", (event) => event.waitUntil(sendKept()));

/* The answer of the server; refused when it is away, or does not answer in time. */
async function answered(request) {
  const late = new Promise((_, refuse) => setTimeout(refuse, LONGEST_MS));
  const answer = await Promise.race([fetch(request), late]);
  if (AWAY.includes(answer.status)) throw answer;
  return answer;
}

async function kept(request) {
  const cache = await caches.open(NAME);
  return (await cache.match(request, { ignoreVary: true })) || fetch(request);
}

/* Without a connection: the steps of this case, the way down for whoever asked for it, else a page that says both. */
async function away(url) {
  const step = await caches.match(url.pathname, { cacheName: STEPS, ignoreVary: true });
  if (step) return step;
  const cache = await caches.open(NAME);
  const given = url.pathname.split("/")[1];
  const tag = KEPT.includes(`/${given}/`) ? given : "en";
  const page = url.pathname === "/" ? "" : /\/down(\/\d+)?$/.test(url.pathname) ? "down" : "offline";
  return cache.match(`/${tag}/${page}`, { ignoreVary: true });
}

/* A survey goes on without a connection, on the page that its script has put aside. */
async function surveyed(request, url) {
  const put_aside = () => caches.match(url.pathname, { cacheName: SURVEYS, ignoreVary: true });
  return answered(request).catch(async () => (await put_aside()) || away(url));
}

/* A form goes to the server, or is kept and sent later; what is said beside a person who is up keeps the way down. */
async function sayOrKeep(request, url) {
  const said = { url: url.href, type: request.headers.get("content-type"), body: await request.clone().blob() };
  try {
    return await answered(request);
  } catch {
    await waiting("readwrite", (store) => store.add(said));
    if (self.registration.sync) self.registration.sync.register("said").catch(() => {});
    return Response.redirect(await onward(url, said), 303);
  }
}

/* Where a form leads that is kept: beside a person who is up to the next step or the way down, else back to its case. */
async function onward({ pathname }, { body }) {
  if (!pathname.endsWith("/now")) return pathname.replace(/\/[^/]*$/, "");
  const form = new URLSearchParams(await body.text());
  const next = form.get("answer") === "still" && form.get("step") ? `/${Number(form.get("step")) + 1}` : "";
  const down = pathname.replace(/\/now$/, "/down");
  return (await caches.match(down + next, { cacheName: STEPS })) ? down + next : down;
}

let sending = null;

function sendKept() {
  sending ||= sendInOrder().finally(() => (sending = null));
  return sending;
}

/* In the order in which it was said; the first that does not arrive stops the rest. A page that is open is told. */
async function sendInOrder() {
  let told = null;
  for (const key of await keys_of((said) => !said.fields)) {
    const { url, type, body } = await waiting("readonly", (store) => store.get(key));
    const headers = { "Content-Type": type, Accept: "text/html" };
    const answer = await fetch(url, { method: "POST", headers, body }).catch(() => null);
    if (!answer || AWAY.includes(answer.status) || answer.status === 429) return tell({ waiting: true });
    await waiting("readwrite", (store) => store.delete(key));
    told = answer.ok ? { sent: answer.url } : { refused: url.replace(/\/[^/]*$/, "") };
  }
  if (told) await tell(told);
}

async function tell(news) {
  for (const client of await self.clients.matchAll()) client.postMessage(news);
}

/* The keys of what waits and is of this kind, in order. */
async function keys_of(kind) {
  const keys = await waiting("readonly", (store) => store.getAllKeys());
  const said = await waiting("readonly", (store) => store.getAll());
  return keys.filter((_, n) => said[n] && kind(said[n]));
}

const later = new Map(); // when what the server could not take is tried again, by its key
let photographing = null;

function sendPhotos(form_key) {
  photographing ||= photosInOrder(form_key).finally(() => (photographing = null));
  return photographing;
}

/* The photos of a survey, apart from what caregivers say, which never waits for them. One is let go once it has arrived,
   or once the server has judged that it is no photo. What the server could not take stays, and lets the next ones by; a
   connection that is lost, a network that wants a password and a session that is over stop them all. */
async function photosInOrder(form_key) {
  for (const key of await keys_of((said) => said.fields)) {
    if (later.get(key) > Date.now()) continue;
    const { url, fields, about } = await waiting("readonly", (store) => store.get(key));
    const body = new FormData();
    for (const [name, value] of [...fields, ["form_key", form_key]]) body.append(name, value);
    const answer = await fetch(url, { method: "POST", headers: { Accept: "application/json" }, body }).catch(() => null);
    const ours = answer?.headers.get("Content-Type")?.includes("json");
    const told = ours ? await answer.json().catch(() => null) : null;
    if (!told || STOPPING.includes(answer.status)) return tell({ stopped: answer ? answer.status : 0 });
    if (answer.ok || told.photo || [413, 415].includes(answer.status)) {
      await waiting("readwrite", (store) => store.delete(key));
      await tell({ judged: about, status: answer.status, told });
    } else {
      later.set(key, Date.now() + LATER_MS);
    }
  }
}
