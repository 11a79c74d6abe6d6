/* What scripts add to a survey: every photo is put aside on the phone first, and the worker sends it when it can. So a
   walk goes on through dead spots, and after the page was closed. Without scripts the forms are sent as they are. */
"use strict";

const page = document.getElementById("survey");
const { here, formKey: form_key } = page.dataset;
const walk = document.getElementById("walk");
const MEMORY = `survey ${here}`;
const ENOUGH = ["good", "kept", "skipped"];
const LEFT = "left"; // a photo that is not good, which somebody leaves for later
const own = JSON.parse(localStorage.getItem(MEMORY)) || { lift: "", number: "", views: {}, lifts: [] };

if ("serviceWorker" in navigator && "indexedDB" in window) takeOver();

async function takeOver() {
  const { serviceWorker } = navigator;
  serviceWorker.register("/worker.js", { scope: "/" }).catch(() => {});
  await serviceWorker.ready; // until then the forms are plain ones
  serviceWorker.addEventListener("message", ({ data }) => (data.judged ? judged(data) : "stopped" in data && stopped(data)));
  navigator.storage?.persist?.();
  for (const form of page.querySelectorAll("form.taking")) {
    form.classList.add("scripted");
    form.addEventListener("change", ({ target }) => target.type === "file" && target.files[0] && taken(form, target));
    form.addEventListener("submit", (event) => pressed(event, form));
  }
  document.querySelector("form[action$='/sign-out']")?.addEventListener("submit", () => caches.delete(SURVEYS));
  if (walk) prepareWalk();
  count();
  send();
  setInterval(send, SEND_EVERY_MS);
  window.addEventListener("online", send);
}

function prepareWalk() {
  document.getElementById("leave").addEventListener("click", leave);
  for (const button of walk.querySelectorAll(".onward")) button.addEventListener("click", () => goOn(button));
  caches.open(SURVEYS).then((cache) => cache.add(here)).catch(() => {}); // offline: it was put aside before
  show();
}

async function send() {
  (await navigator.serviceWorker.ready).active.postMessage({ form_key });
}

/* Put aside first, on the phone's disk; false when there is no room. */
async function keep(path, fields, about) {
  try {
    await waiting("readwrite", (store) => store.add({ url: here + path, fields, about }));
  } catch {
    news.textContent = page.dataset.full;
    return false;
  }
  await count();
  send();
  return true;
}

async function taken(form, input) {
  const photo = await smaller(input.files[0]);
  input.value = "";
  if ("lift" in form.dataset) return begin(form, photo);
  const { view } = form.dataset;
  if (!(await keep(`/lifts/${liftOf()}/views`, [["view", view], ["photos", photo]], { lift: liftOf(), view }))) return;
  tell(form, navigator.onLine ? page.dataset.judging : page.dataset.kept);
  if (walk) note(view, "waiting");
  if (walk && !navigator.onLine) show();
}

async function pressed(event, form) {
  event.preventDefault();
  if ("lift" in form.dataset) return begin(form, null);
  const { view } = form.dataset;
  const go = event.submitter?.name === "go" ? event.submitter.value : "";
  if (!go || !(await keep(`/lifts/${liftOf()}/views`, [["view", view], ["go", go]], { lift: liftOf(), view }))) return;
  if (!walk) return;
  note(view, go);
  show();
}

/* A new lift; a number that was surveyed before leads to the lift that has it. */
async function begin(form, photo) {
  const number = photo ? "" : form.elements.number.value.trim().replace(/\s+/g, " ");
  if (!photo && !number) return form.elements.number.focus();
  const before = [...JSON.parse(page.dataset.lifts), ...own.lifts].find((one) => number && same(one.number, number));
  if (before) return offer(form, before);
  const lift = secret(16);
  const fields = [["lift", lift], ["number", number], ["queued", "yes"], ...(photo ? [["photos", photo]] : [])];
  if (!(await keep("/lifts", fields, { lift, view: "" }))) return;
  form.reset();
  tell(form, "");
  remember({ lift, number, views: {}, lifts: [...own.lifts, { token: lift, number }] });
  show();
}

function same(one, other) {
  return one.toUpperCase() === other.toUpperCase();
}

function offer(form, { token, number, place }) {
  tell(form, page.dataset.same.replace("{place}", place ? `${place}, ${number}` : number));
  const words = { type: "button", className: "choice", textContent: page.dataset.earlier };
  const button = Object.assign(document.createElement("button"), words);
  button.addEventListener("click", () => {
    if (place) return location.assign(`${here}/lifts/${token}`);
    tell(form, "");
    form.reset();
    remember({ lift: token, number, views: own.lift === token ? own.views : {} });
    show();
  });
  form.querySelector(".judged").append(button);
}

/* The worker heard from the server. */
async function judged({ judged: { lift, view }, status, told }) {
  const left = await count();
  const here_now = lift === liftOf();
  const fine = status < 300;
  if (!fine) report(lift, view, page.dataset.refused);
  if (!walk) return here_now && fine ? location.reload() : undefined;
  if (fine && told.number) remember({ lifts: own.lifts.map((one) => (one.token === lift ? { ...one, number: told.number } : one)) });
  if (!here_now) {
    if (fine) reportLater(lift, view, told);
  } else if (!fine) {
    note(view, "");
    show();
  } else {
    judgedNow(lift, view, told);
  }
  if (left === 0 && own.lift && !nextStep()) finish();
}

/* A photo of the lift before somebody. */
function judgedNow(lift, view, told) {
  if (told.told || told.same_as) report(lift, "", told.told || page.dataset.same.replace("{place}", told.same_as));
  remember({ number: told.number || own.number });
  title();
  if (!view || own.views[view] !== "waiting") return;
  const { state, told: words, photo } = told.views[view];
  const step = walk.querySelector(`[data-step="${view}"]`);
  note(view, state);
  if (ENOUGH.includes(state)) return step.hidden ? undefined : show();
  if (step.hidden) return report(lift, view, words);
  tell(step.querySelector("form"), words);
  step.querySelector(".keep").hidden = !photo;
  step.querySelector(".onward").hidden = false;
}

/* A photo that was judged when its lift was left: what is wrong with it is said, and where to go back to. */
function reportLater(lift, view, told) {
  if (told.told || told.same_as) report(lift, "", told.told || page.dataset.same.replace("{place}", told.same_as));
  if (view && !ENOUGH.includes(told.views[view].state)) report(lift, view, told.views[view].told, told.number);
}

function report(lift, view, words, number = "") {
  const name = page.querySelector(`form[data-view="${view}"]`)?.dataset.name;
  const text = [number || own.lifts.find((one) => one.token === lift)?.number, name, words].filter(Boolean).join(": ");
  const link = { href: `${here}/lifts/${lift}`, textContent: text, className: "choice" };
  const line = document.createElement("li");
  line.append(Object.assign(document.createElement("a"), link));
  document.getElementById("told").append(line);
  news.textContent = text;
}

/* Nothing goes through now: what was put aside stays, and the walk goes on. */
function stopped({ stopped: status }) {
  if (status === 401 || status === 403) {
    const link = { href: here, textContent: page.dataset.signedOut };
    return news.replaceChildren(Object.assign(document.createElement("a"), link));
  }
  const form = walk?.querySelector(".step:not([hidden]) form");
  if (!form || own.views[form.dataset.view] !== "waiting") return;
  news.textContent = page.dataset.kept;
  show();
}

async function count() {
  const number = (await waiting("readonly", (store) => store.getAll())).filter((said) => said.fields).length;
  const told = document.getElementById("waits");
  told.hidden = number === 0;
  told.textContent = page.dataset.waits.replace("{count}", number);
  const whole = walk && own.lift && !nextStep();
  document.getElementById("readings-link")?.toggleAttribute("hidden", number > 0 || !navigator.onLine || !whole);
  return number;
}

/* The next photo of the lift before somebody, or the next lift. */
function show() {
  document.getElementById("start").hidden = Boolean(own.lift);
  walk.hidden = !own.lift;
  if (!own.lift) return;
  title();
  const next = nextStep();
  for (const step of walk.querySelectorAll(".step")) step.hidden = step !== next;
  if (!next) return finish();
  tell(next.querySelector("form"), "");
  next.querySelector("h3").focus();
}

function nextStep() {
  return [...walk.querySelectorAll(".step")].find((step) => !own.views[step.dataset.step]);
}

function title() {
  const heading = document.getElementById("walk-lift");
  heading.textContent = own.number ? heading.dataset.words.replace("{number}", own.number) : heading.dataset.unknown;
}

/* Every photo was asked for: with a connection the readings come, without one they come later. */
async function finish() {
  const lift = own.lift;
  document.getElementById("readings-link").href = `${here}/lifts/${lift}#readings`;
  const left = await count();
  news.textContent = left || !navigator.onLine ? page.dataset.later : page.dataset.whole;
  if (left || !navigator.onLine) return document.getElementById("leave").focus();
  remember({ lift: "", number: "", views: {} });
  location.assign(`${here}/lifts/${lift}#readings`);
}

function goOn(button) {
  button.hidden = true;
  note(button.closest(".step").dataset.step, LEFT);
  show();
}

function leave() {
  remember({ lift: "", number: "", views: {} });
  show();
  document.getElementById("next").focus();
}

function liftOf() {
  return page.dataset.lift || own.lift;
}

function note(view, state) {
  remember({ views: { ...own.views, [view]: state } });
}

function remember(more) {
  localStorage.setItem(MEMORY, JSON.stringify(Object.assign(own, more)));
}

function tell(form, words) {
  const told = form.querySelector(".judged");
  told.hidden = !words;
  told.textContent = words;
  if (words) news.textContent = words;
}
