/* The keyboard of a call: 1–9 answer, 0 don't know, S not now, U undo, P somebody is up, N they are down, D a danger,
   K a link, X close, J on to the new question, ? all of them.
   What others change comes in by itself, and so does the word that somebody is up in any case. */
"use strict";

const news = document.getElementById("news");
const AGAIN_MS = 2000;
let leaving = false;

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey || event.repeat) return;
  if (event.target.closest("input, textarea, select")) return;
  const pressed = CSS.escape(event.key.toLowerCase());
  const danger = document.querySelector("#danger[open]");
  const button =
    danger?.querySelector(`[data-danger-key="${pressed}"]`) ||
    document.querySelector(`button[data-key="${pressed}"], summary[data-opens="${pressed}"]`);
  if (button) {
    event.preventDefault();
    button.click();
  }
});

/* A form waits on its page until the server answers at all: no page of the browser takes its place. */
document.addEventListener("submit", async (event) => {
  const { target: form, submitter } = event;
  if (form.method !== "post" || form.enctype.startsWith("multipart")) return busy(form);
  if (form.dataset.reached) return;
  event.preventDefault();
  if (form.dataset.sent) return;
  form.dataset.sent = "yes";
  while (!(await reached())) {
    news.textContent = document.body.dataset.unsent || "";
    await new Promise((go) => setTimeout(go, 2000));
  }
  form.dataset.reached = "yes";
  leaving = true;
  form.requestSubmit(submitter);
  setTimeout(() => {
    leaving = false;
    delete form.dataset.sent;
    delete form.dataset.reached;
  }, 4000);
});

async function reached() {
  try {
    return (await fetch("/healthz", { cache: "no-store", signal: AbortSignal.timeout(4000) })).ok;
  } catch {
    return false;
  }
}

function busy(form) {
  if (form.dataset.busy) news.textContent = form.dataset.busy;
}

if (document.body.dataset.case) follow();
else if (document.body.dataset.changes) watch();

function watch() {
  listen(new EventSource(document.body.dataset.changes), watch);
}

function follow() {
  const { case: here, version } = document.body.dataset;
  const changes = new EventSource(`${here}/changes?after=${version}`);
  listen(changes, follow);
  changes.addEventListener("changed", async (event) => {
    changes.close();
    if (leaving) return setTimeout(follow, 4000); // what is new comes with the next page
    const answer = await fetch(here).catch(() => null);
    if (!answer || answer.status >= 500) return setTimeout(follow, AGAIN_MS);
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
    if (!fresh.body.dataset.version) return location.reload();
    const focused = document.activeElement.id;
    carryOver(document.querySelector("main"), fresh.querySelector("main"));
    keepAsked(document.getElementById("asked"), fresh);
    document.querySelector("main").replaceWith(fresh.querySelector("main"));
    document.body.dataset.version = fresh.body.dataset.version;
    if (focused) document.getElementById(focused)?.focus();
    news.textContent = document.body.dataset.news;
    setTimeout(() => (news.textContent = ""), 8000);
    follow();
  });
}

/* Somebody is up: in the banner of every page, with the number of cases in its title. */
function listen(changes, again) {
  const banner = document.getElementById("up");
  const title = document.title;
  changes.addEventListener("up", ({ data }) => {
    const all = JSON.parse(data);
    const links = all.slice(0, 3).map(({ id, code }) => {
      const words = banner.dataset.words.replace("{code}", code);
      return Object.assign(document.createElement("a"), { href: `${banner.dataset.cases}/${id}`, textContent: words });
    });
    const more = banner.dataset.more.replace("{count}", all.length - 3);
    if (all.length > 3) links.push(Object.assign(document.createElement("a"), { href: banner.dataset.cases, textContent: more }));
    banner.replaceChildren(...links.flatMap((link) => [link, " "]));
    banner.hidden = all.length === 0;
    document.title = all.length ? `(${all.length}) ${title.replace(/^\(\d+\) /, "")}` : title.replace(/^\(\d+\) /, "");
  });
  changes.addEventListener("looking", ({ data }) => {
    const line = document.getElementById("looking");
    const names = JSON.parse(data);
    line.hidden = names.length === 0;
    line.textContent = names.length ? line.dataset.words.replace("{names}", names.join(", ")) : "";
  });
  changes.addEventListener("error", () => {
    if (changes.readyState === EventSource.CLOSED) setTimeout(again, AGAIN_MS); // a proxy had no server to ask
  });
  window.addEventListener("pagehide", () => changes.close());
}

/* A question that was read aloud stays until it is answered or left: no key that is meant for it answers another one.
   When somebody is up now, the new page is shown at once, and the keys of its question wait for J. */
function keepAsked(asked, fresh) {
  const next = fresh.getElementById("asked");
  const aloud = fresh.querySelector(".aloud");
  if (!asked || next?.dataset.question === asked.dataset.question) return;
  const go = Object.assign(document.createElement("button"), { type: "button", className: "small-button main" });
  go.append(Object.assign(document.createElement("kbd"), { textContent: "J" }), ` ${asked.dataset.go}`);
  go.dataset.key = "j";
  const notice = Object.assign(document.createElement("p"), { className: "note", id: "became" });
  notice.setAttribute("role", "alert");
  notice.append(asked.dataset.changed.replace("{question}", aloud.textContent), " ", go);
  if (fresh.querySelector(".plan") && !document.querySelector(".plan")) {
    for (const button of next?.querySelectorAll("[data-key]") || []) button.dataset.waits = button.dataset.key;
    for (const button of next?.querySelectorAll("[data-key]") || []) delete button.dataset.key;
    go.addEventListener("click", () => {
      for (const button of document.querySelectorAll("[data-waits]")) button.dataset.key = button.dataset.waits;
      notice.remove();
    });
  } else {
    go.addEventListener("click", () => location.reload());
    aloud.textContent = document.querySelector(".aloud").textContent;
    if (next) next.replaceWith(asked);
    else aloud.after(asked);
  }
  (fresh.getElementById("asked") || aloud).before(notice);
}

document.addEventListener("click", async ({ target }) => {
  const button = target.closest("[data-copies], [data-copies-field]");
  if (!button) return;
  const field = document.getElementById(button.dataset.copiesField);
  field?.select();
  await navigator.clipboard?.writeText(button.dataset.copies || field.value);
  news.textContent = button.dataset.copied;
});

/* What was typed or chosen and not sent yet stays, and what was folded out stays so. */
function carryOver(before, after) {
  for (const field of before.querySelectorAll("input[id], select[id], textarea[id]:not([readonly])")) {
    const same = after.querySelector(`#${CSS.escape(field.id)}`);
    if (!same) continue;
    if (field.type === "file") same.files = field.files;
    else if (field.tagName === "SELECT") same.value = field.value;
    else if (field.value !== field.defaultValue) same.value = field.value;
  }
  for (const part of before.querySelectorAll("details[id]")) {
    const same = after.querySelector(`#${CSS.escape(part.id)}`);
    if (same) same.open = part.open;
  }
}
