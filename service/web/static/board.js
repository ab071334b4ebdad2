"use strict";
// Keeps the board fresh without a reload: asks for its changing part, and puts it in when it has changed.
const today = document.getElementById("today");
const every = 5000;
let mark = "";

function busy() {
  const at = document.activeElement;
  return at && today.contains(at) && at.matches("select");
}

function put(text) {
  const open = [...today.querySelectorAll("details[open]")].map((each) => each.id);
  const chosen = [...today.querySelectorAll("select")].map((each) => [each.name, each.value]);
  const held = today.contains(document.activeElement) ? document.activeElement.value : null;
  today.innerHTML = text;
  open.forEach((id) => document.getElementById(id)?.setAttribute("open", ""));
  chosen.forEach(([name, value]) => { today.querySelector(`select[name="${name}"]`).value = value; });
  if (held) [...today.querySelectorAll("button")].find((each) => each.value === held)?.focus();
  document.title = today.querySelector("h1").textContent;
}

async function look() {
  if (document.hidden || busy()) return;
  try {
    const answer = await fetch(today.dataset.from, { headers: mark ? { "If-None-Match": mark } : {}, cache: "no-store" });
    if (answer.status === 401) location.reload();
    if (!answer.ok) return;
    mark = answer.headers.get("ETag") ?? "";
    put(await answer.text());
    today.classList.remove("old");
  } catch {
    today.classList.add("old");
  }
}

setInterval(look, every);
document.addEventListener("visibilitychange", look);
