/* The guiding camera: a live view, one small frame after the other to the server for a hint, and those that are fit sent
   as photos are. A frame that is not taken is gone with the next one. Whatever fails, a picture can be sent instead. */
"use strict";

const FRAME_PX = 480; // the longest side of what is sent for a hint
const EVERY_MS = 350; // a hint at most so often: two or three a second
const SLOW_MS = 3000; // so long without a hint, and that is said
const STUCK_MS = 20000; // so long after a photo without another one, and a question that settles as much is asked
const CAMERA = { audio: false, video: { facingMode: "environment", width: { ideal: 1920 }, height: { ideal: 1440 } } };

const guide = document.getElementById("guide");
const video = guide.querySelector("video");
const hint_line = guide.querySelector(".hint");
const shown = form.dataset.done; // the page of what the photos show

let camera = null; // the stream, while the camera is on
let wanted = { view: guide.dataset.view, again: "again" in guide.dataset };
let looks = {}; // how the frames looked that were taken, by view
let taken = 0;
let by_hand = false;
let stuck_ms = Infinity; // when the camera gives way to a question, where there is one
let last_hint = { id: "", at_ms: 0 };

if (window.isSecureContext && navigator.mediaDevices?.getUserMedia) {
  document.getElementById("guide-offer").hidden = false;
  document.getElementById("guide-start").addEventListener("click", begin);
  document.getElementById("guide-shoot").addEventListener("click", () => (by_hand = true));
  guide.querySelector("[data-stop]").addEventListener("click", () => guide.close());
  guide.addEventListener("close", leave);
  window.addEventListener("pagehide", off);
} else {
  instead("unsafe");
}

/* Pressed under the words that say what is sent: nothing is before. */
async function begin() {
  if (camera) return;
  document.getElementById("guide-told").hidden = true;
  try {
    camera = await navigator.mediaDevices.getUserMedia(CAMERA);
    video.srcObject = camera;
    await video.play();
  } catch ({ name }) {
    off();
    return instead({ NotAllowedError: "refused", SecurityError: "refused", NotFoundError: "none" }[name] || "busy");
  }
  camera.getVideoTracks()[0].addEventListener("ended", ended);
  followed?.close(); // her own photos are no news to her
  guide.showModal();
  want(wanted, document.getElementById("guide-ask").textContent);
  last_hint = { id: "", at_ms: performance.now() };
  run();
}

async function run() {
  while (camera) {
    const began_ms = performance.now();
    const frame = drawn(video.videoWidth, video.videoHeight);
    const hint = by_hand ? { take: true } : await hinted(frame);
    if (!camera) return;
    if (hint) show(hint);
    if (hint?.take) await take(frame, hint.look);
    else if (performance.now() > stuck_ms) return guide.close();
    await new Promise((go) => setTimeout(go, Math.max(50, began_ms + EVERY_MS - performance.now())));
  }
}

/* What the server says of a frame; nothing when it is busy with others' frames, or does not answer in time. */
async function hinted(frame) {
  const scale = FRAME_PX / Math.max(frame.width, frame.height);
  const body = new FormData();
  body.append("photos", await encoded(drawn(frame.width * scale, frame.height * scale, frame), 0.8), "frame.jpg");
  body.append("view", wanted.view);
  body.append("taken", (looks[wanted.view] || []).join());
  try {
    return await posted(guide.dataset.look, body, AbortSignal.timeout(SLOW_MS));
  } catch {
    if (performance.now() - last_hint.at_ms > SLOW_MS) hint_line.textContent = guide.dataset.slow;
    return null;
  }
}

/* The document that the server answers with; refused when it answers with anything else. */
async function posted(address, body, signal) {
  const answer = await fetch(address, { method: "POST", headers: { Accept: "application/json" }, body, signal });
  if (!answer.ok) throw answer;
  return answer.json();
}

/* A hint is read out when it comes twice, so that it can be followed; where the part is moves at once. */
function show({ id, words, box, take }) {
  if (words && (take || id === last_hint.id || !hint_line.textContent)) hint_line.textContent = words;
  last_hint = { id, at_ms: performance.now() };
  const [left, top, right, bottom] = box || [0, 0, 0, 0];
  const sides = { x: left, y: top, width: right - left, height: bottom - top };
  for (const [name, value] of Object.entries(sides)) guide.querySelector(".found rect").setAttribute(name, value);
}

/* The frame that was judged goes as a photo; one that does not go through waits as every photo does. */
async function take(frame, look) {
  by_hand = false;
  hint_line.textContent = guide.dataset.reading;
  const photo = new File([await encoded(frame, 0.92)], "camera.jpg", { type: "image/jpeg" });
  const body = new FormData();
  body.append("photos", photo);
  for (const [name, ticked] of Object.entries(agreed())) if (ticked) body.append(name, "yes");
  const answer = await posted(form.action, body).catch(() => null);
  if (!answer) {
    taken = 0;
    guide.close();
    return hold(photo);
  }
  taken += 1;
  if (look) (looks[wanted.view] ||= []).push(look);
  tell(answer.told);
  form.dataset.done = answer.asked ? form.dataset.ask : shown;
  stuck_ms = answer.asked ? performance.now() + STUCK_MS : Infinity;
  if (!answer.guide) return guide.close();
  want(answer.guide, answer.guide.ask);
}

function tell(lines) {
  const items = lines.map((textContent) => Object.assign(document.createElement("li"), { textContent }));
  guide.querySelector(".read").replaceChildren(...items);
}

function want(view, ask) {
  wanted = view;
  document.getElementById("guide-ask").textContent = ask;
  hint_line.textContent = "";
  guide.dataset.of = view.view;
  guide.classList.toggle("again", view.again);
}

function drawn(width, height, from = video) {
  const canvas = Object.assign(document.createElement("canvas"), { width, height });
  canvas.getContext("2d").drawImage(from, 0, 0, canvas.width, canvas.height);
  return canvas;
}

function encoded(canvas, quality) {
  return new Promise((done) => canvas.toBlob(done, "image/jpeg", quality));
}

/* The camera is closed: with what it took to what that shows, or to the question that settles it, else back to the page
   as it was. */
function leave() {
  off();
  if (taken) location.replace(form.dataset.done);
  else if (document.body.dataset.case && !form.dataset.sending_now) followCase();
}

function off() {
  for (const track of camera?.getTracks() || []) track.stop();
  camera = video.srcObject = null;
}

function ended() {
  guide.close();
  instead("ended");
}

function instead(why) {
  const told = document.getElementById("guide-told");
  told.textContent = guide.dataset[why];
  told.hidden = false;
}
