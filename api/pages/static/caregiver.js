/* What scripts add: the photo goes off as soon as it is taken, smaller, with progress, and waits when offline; what is
   said while the connection is off waits in the worker and is sent from there. */
"use strict";

const JUDGED = [404, 413, 415, 422];
const news = document.getElementById("news");
const form = document.getElementById("photo");
const held_under = form && new URL(form.action).pathname; // the same for every page of a case that takes a photo

const here = location.pathname.match(/^\/[^/]+\/[cu]\/[^/]+/);

let followed = null;

window.addEventListener("pagehide", () => followed?.close());
if ("serviceWorker" in navigator) followWorker();
if ("caches" in window) keepSteps();
if (form) preparePhoto();
if (document.body.dataset.case) followCase();
for (const other of document.querySelectorAll("form")) {
  if (other !== form) other.addEventListener("submit", once);
  if (other.elements.sent) other.addEventListener("submit", named);
}

/* A double tap sends one answer. The pressed button stays enabled until its value is on the way. */
function once(event) {
  if (event.target.dataset.sent) event.preventDefault();
  event.target.dataset.sent = "yes";
  setTimeout(() => delete event.target.dataset.sent, 4000);
}

/* Each sending has a name, so that it is taken once however often it is sent. Before there is a case the browser names
   that too: what is said offline comes into one case. A page that is kept for all belongs to the case it is shown for. */
function named(event) {
  const { target } = event;
  target.elements.sent.value = secret(16);
  if (/^\/[^/]+\/now$/.test(new URL(target.action).pathname)) {
    if (here) target.action = `${here[0]}/now`;
    else target.append(hidden("token", (localStorage.opening ||= secret(24))));
  }
}

function hidden(name, value) {
  return Object.assign(document.createElement("input"), { type: "hidden", name, value });
}

/* What waits in the worker is sent again and again while a page is open, and the reader is told. */
function followWorker() {
  const { serviceWorker } = navigator;
  const { waiting, sent, refused } = document.body.dataset;
  serviceWorker.register("/worker.js", { scope: "/" });
  serviceWorker.addEventListener("message", ({ data }) => {
    if (data.waiting) say(waiting);
    else link(data.sent ? sent : refused, data.sent || data.refused);
  });
  const send = () => serviceWorker.controller?.postMessage("send");
  send();
  setInterval(send, SEND_EVERY_MS);
  window.addEventListener("online", send);
}

/* The steps of a confirmed mechanism stay readable without a connection, as long as somebody is up. */
async function keepSteps() {
  const { case: own, up, steps } = document.body.dataset;
  const lost = () => {}; // the connection went, or the reader was faster: the next page keeps them
  if (steps) await (await caches.open("hoistlore-steps")).addAll(steps.split(" ")).catch(lost);
  else if (own && !up) await caches.delete("hoistlore-steps");
  if (own && localStorage.opening && own.endsWith(localStorage.opening)) delete localStorage.opening;
}

function preparePhoto() {
  const inputs = form.querySelectorAll("input[type=file]");
  const send = document.getElementById("send");
  form.classList.add("scripted");
  send.hidden = true;
  for (const input of inputs) input.addEventListener("change", () => input.files[0] && hold(input.files[0]));
  form.addEventListener("submit", (event) => event.preventDefault());
  send.textContent = form.dataset.again;
  send.addEventListener("click", sendHeld);
  window.addEventListener("online", sendHeld);
  held().then((photo) => photo && sendHeld());
}

/* The photo is put aside first, so that a lost connection or a closed page does not lose it. */
async function hold(file) {
  const photo = await smaller(file);
  await unsent("readwrite", (store) => store.put({ photo, ...agreed() }, held_under));
  sendHeld();
}

/* What was ticked before the photo was taken goes with it. */
function agreed() {
  return { keep: form.keep.checked, learn: form.elements.learn?.checked === true };
}

async function sendHeld() {
  const waiting = await held();
  if (!waiting || form.dataset.sending_now) return;
  if (!navigator.onLine) return say(form.dataset.waiting);
  form.dataset.sending_now = "yes";
  followed?.close(); // her own photo is no news to her
  const body = new FormData();
  body.append("photos", waiting.photo, waiting.photo.name || "photo.jpg");
  if (waiting.keep) body.append("keep", "yes");
  if (waiting.learn) body.append("learn", "yes");
  const request = new XMLHttpRequest();
  const bar = document.getElementById("progress");
  bar.hidden = false;
  say(form.dataset.sending);
  request.upload.onprogress = (event) => event.lengthComputable && (bar.value = (100 * event.loaded) / event.total);
  request.upload.onload = () => say(form.dataset.reading);
  request.onerror = () => failed(navigator.onLine ? form.dataset.failed : form.dataset.waiting);
  request.onload = () => sent(request);
  request.open("POST", form.action);
  request.setRequestHeader("Accept", "text/html");
  request.send(body);
}

/* The photo is let go once it has arrived, or once the server has judged that it cannot be used; not before. */
async function sent(request) {
  if (request.status >= 300 && !JUDGED.includes(request.status)) return failed(form.dataset.failed);
  await unsent("readwrite", (store) => store.delete(held_under));
  if (request.status < 300) return location.replace(form.dataset.done);
  const told = new DOMParser().parseFromString(request.responseText, "text/html").querySelector("main");
  document.querySelector("main").replaceWith(told);
  say("");
  told.focus();
}

function failed(words) {
  delete form.dataset.sending_now;
  document.getElementById("progress").hidden = true;
  document.getElementById("send").hidden = false;
  if (document.body.dataset.case) followCase();
  say(words);
}

function held() {
  return unsent("readonly", (store) => store.get(held_under));
}

function unsent(mode, use) {
  return shelf("hoistlore", "unsent", {}, mode, use);
}

/* Somebody else works on the same case: say so, and let the reader decide when to look. */
function followCase() {
  const { case: here, version, news: words } = document.body.dataset;
  followed = new EventSource(`${here}/changes?after=${version}`);
  followed.addEventListener("error", ({ target }) => {
    if (target.readyState === EventSource.CLOSED) setTimeout(followCase, 2000); // a proxy had no server to ask
  });
  followed.addEventListener("changed", () => {
    followed.close();
    link(words, here);
  });
}

function say(words) {
  news.textContent = words;
}

function link(words, href) {
  const to = Object.assign(document.createElement("a"), { href, textContent: document.body.dataset.show });
  say(`${words} `);
  news.append(to);
}
