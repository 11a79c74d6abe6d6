/* What scripts add: the photo goes off as soon as it is taken, smaller, with progress, and waits when offline. */
"use strict";

const LONGEST_SIDE_PX = 2400;
const JUDGED = [404, 413, 415, 422];
const news = document.getElementById("news");
const form = document.getElementById("photo");

if ("serviceWorker" in navigator) navigator.serviceWorker.register("/worker.js", { scope: "/" });
if (form) preparePhoto();
if (document.body.dataset.case) followCase();
for (const other of document.querySelectorAll("form")) {
  if (other !== form) other.addEventListener("submit", once);
}

/* A double tap sends one answer. The pressed button stays enabled until its value is on the way. */
function once(event) {
  if (event.target.dataset.sent) event.preventDefault();
  event.target.dataset.sent = "yes";
  setTimeout(() => delete event.target.dataset.sent, 4000);
}

function preparePhoto() {
  const input = document.getElementById("picture");
  const send = document.getElementById("send");
  form.classList.add("scripted");
  send.hidden = true;
  input.addEventListener("change", () => input.files[0] && hold(input.files[0]));
  form.addEventListener("submit", (event) => event.preventDefault());
  send.textContent = form.dataset.again;
  send.addEventListener("click", sendHeld);
  window.addEventListener("online", sendHeld);
  held().then((photo) => photo && sendHeld());
}

/* The photo is put aside first, so that a lost connection or a closed page does not lose it. */
async function hold(file) {
  const photo = await smaller(file);
  await shelf("readwrite", (store) => store.put({ photo, keep: form.keep.checked }, location.pathname));
  sendHeld();
}

/* A photo that the browser cannot draw, as HEIC in most, goes as it is: the server reads it. */
async function smaller(file) {
  try {
    const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
    const scale = LONGEST_SIDE_PX / Math.max(picture.width, picture.height);
    if (scale >= 1) return file;
    const canvas = document.createElement("canvas");
    canvas.width = Math.round(picture.width * scale);
    canvas.height = Math.round(picture.height * scale);
    canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
    const blob = await new Promise((done) => canvas.toBlob(done, "image/jpeg", 0.88));
    return blob ? new File([blob], "photo.jpg", { type: "image/jpeg" }) : file;
  } catch {
    return file;
  }
}

async function sendHeld() {
  const waiting = await held();
  if (!waiting || form.dataset.sending_now) return;
  if (!navigator.onLine) return say(form.dataset.waiting);
  form.dataset.sending_now = "yes";
  const body = new FormData();
  body.append("photos", waiting.photo, waiting.photo.name || "photo.jpg");
  if (waiting.keep) body.append("keep", "yes");
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
  await shelf("readwrite", (store) => store.delete(location.pathname));
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
  say(words);
}

function held() {
  return shelf("readonly", (store) => store.get(location.pathname));
}

function shelf(mode, use) {
  return new Promise((done, refused) => {
    const opening = indexedDB.open("hoistlore", 1);
    opening.onupgradeneeded = () => opening.result.createObjectStore("unsent");
    opening.onerror = () => refused(opening.error);
    opening.onsuccess = () => {
      const request = use(opening.result.transaction("unsent", mode).objectStore("unsent"));
      request.onsuccess = () => done(request.result);
      request.onerror = () => refused(request.error);
    };
  });
}

/* Somebody else works on the same case: say so, and let the reader decide when to look. */
function followCase() {
  const { case: here, version, news: words, show } = document.body.dataset;
  const changes = new EventSource(`${here}/changes?after=${version}`);
  changes.addEventListener("changed", () => {
    changes.close();
    const link = document.createElement("a");
    link.href = here;
    link.textContent = show;
    say(`${words} `);
    news.append(link);
  });
  window.addEventListener("pagehide", () => changes.close());
}

function say(words) {
  news.textContent = words;
}
