"use strict";
// Keeps phones, clock and board fresh without a reload, and lets the clock wait while somebody types.
const every = 700;
const stage = document.querySelector("main");
const told = document.getElementById("told");
let looking = false;

function keep(part) {
  const open = [...part.querySelectorAll("details[open]")].map((each) => each.id);
  const chosen = [...part.querySelectorAll("select")].map((each) => [each.name, each.value]);
  const held = part.contains(document.activeElement) ? document.activeElement.value : null;
  return () => {
    open.forEach((id) => document.getElementById(id)?.setAttribute("open", ""));
    chosen.forEach(([name, value]) => { const each = part.querySelector(`select[name="${name}"]`); if (each) each.value = value; });
    if (held) [...part.querySelectorAll("button")].find((each) => each.value === held)?.focus();
  };
}

// What has just come is marked for a while, and a long message is shown from its beginning.
function mark(part, came) {
  const fresh = [...part.children].slice(0, Math.max(1, came));
  fresh.forEach((each) => each.classList.add("new"));
  setTimeout(() => fresh.forEach((each) => each.classList.remove("new")), 6000);
  part.scrollTop = 0;
  const above = part.getBoundingClientRect().top - fresh[0].getBoundingClientRect().top;
  if (above > 0) part.scrollTop = -above - 6;
}

function put(text) {
  const fresh = new DOMParser().parseFromString(text, "text/html");
  fresh.querySelectorAll("[data-live]").forEach((now) => {
    const part = document.getElementById(now.id);
    const was = part.shown ?? part.innerHTML;
    if (was === now.innerHTML || (part.contains(document.activeElement) && document.activeElement.matches("select"))) return;
    const back = keep(part);
    const count = part.children.length;
    part.shown = now.innerHTML;
    part.innerHTML = now.innerHTML;
    if (part.matches(".notes")) mark(part, part.children.length - count);
    back();
  });
  document.title = document.querySelector("#clock b").textContent + " · A school morning";
}

async function look() {
  if (looking || document.hidden) return;
  looking = true;
  try {
    const answer = await fetch("/try/part", { cache: "no-store" });
    if (answer.ok) put(await answer.text());
    stage.classList.remove("old");
  } catch {
    stage.classList.add("old");
  } finally {
    looking = false;
  }
}

function send(form, also) {
  const body = new URLSearchParams(new FormData(form));
  Object.entries(also).forEach(([name, value]) => body.set(name, value));
  return fetch(form.action, { method: "POST", body, keepalive: true });
}

document.addEventListener("submit", async (event) => {
  const form = event.target;
  event.preventDefault();
  const by = event.submitter;
  const words = form.querySelector('[name="words"]');
  const body = by?.name ? { [by.name]: by.value } : {};
  const sent = send(form, body);
  if (words) {
    words.value = "";
    wait(false);
  }
  try {
    const page = new DOMParser().parseFromString(await (await sent).text(), "text/html");
    if (form.id === "act") {
      const said = page.getElementById("said") ?? page.querySelector("main p");
      told.textContent = said?.textContent ?? "";
      told.hidden = !told.textContent;
    }
  } catch {
    stage.classList.add("old");
  }
  await look();
});

const clock = document.querySelector(".clock");
let waits = false;

function wait(now) {
  if (now === waits) return;
  waits = now;
  send(clock, { do: now ? "hold" : "release" }).then(look, () => undefined);
}

document.addEventListener("input", (event) => { if (event.target.name === "words") wait(event.target.value !== ""); });
document.addEventListener("focusout", (event) => { if (event.target.name === "words") wait(false); });
window.addEventListener("pagehide", () => wait(false));

setInterval(look, every);
document.addEventListener("visibilitychange", look);
