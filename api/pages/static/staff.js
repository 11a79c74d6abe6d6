/* The keyboard of a call: 1–9 answer, 0 don't know, S not now, U undo. And what others change comes in by itself. */
"use strict";

const news = document.getElementById("news");

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey || event.repeat) return;
  if (event.target.closest("input, textarea, select")) return;
  const button = document.querySelector(`button[data-key="${CSS.escape(event.key.toLowerCase())}"]`);
  if (button) {
    event.preventDefault();
    button.click();
  }
});

document.addEventListener("submit", (event) => {
  if (event.target.dataset.sent) event.preventDefault();
  event.target.dataset.sent = "yes";
  if (event.target.dataset.busy) news.textContent = event.target.dataset.busy;
  setTimeout(() => delete event.target.dataset.sent, 4000);
});

if (document.body.dataset.case) follow();

function follow() {
  const { case: here, version } = document.body.dataset;
  const changes = new EventSource(`${here}/changes?after=${version}`);
  changes.addEventListener("changed", async (event) => {
    changes.close();
    const fresh = new DOMParser().parseFromString(await (await fetch(here)).text(), "text/html");
    if (!fresh.body.dataset.version) return location.reload();
    const focused = document.activeElement.id;
    carryOver(document.querySelector("main"), fresh.querySelector("main"));
    document.querySelector("main").replaceWith(fresh.querySelector("main"));
    document.body.dataset.version = fresh.body.dataset.version;
    if (focused) document.getElementById(focused)?.focus();
    news.textContent = document.body.dataset.news;
    setTimeout(() => (news.textContent = ""), 8000);
    follow();
  });
  window.addEventListener("pagehide", () => changes.close());
}

/* What was typed or chosen and not sent yet stays, and what was folded out stays so. */
function carryOver(before, after) {
  for (const field of before.querySelectorAll("input[id], select[id]")) {
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
