// The incident's clock as the server keeps it, and every text on the page that counts with it.

import { el } from "./dom.js";

let base = { now: 0, at: 0, known: false };

export function setClock(now) {
  if (!base.stopped) base = { now, at: performance.now(), known: true };
}

// A closed incident's clocks stand where they stood.
export function stopClock(now) {
  base = { now, at: 0, known: true, stopped: true };
}

export function incidentNow() {
  return base.stopped ? base.now : base.now + (performance.now() - base.at);
}

export function hms(ms) {
  const seconds = Math.max(0, Math.floor(ms / 1000));
  const two = (number) => String(number).padStart(2, "0");
  const hours = Math.floor(seconds / 3600);
  const rest = `${two(Math.floor(seconds / 60) % 60)}:${two(seconds % 60)}`;
  return hours ? `${hours}:${rest}` : rest.replace(/^0/, "");
}

export function hmsLong(ms) {
  const text = hms(ms);
  return text.split(":").length === 3 ? text : `0:${text.padStart(5, "0")}`;
}

// A text that counts. It changes every second and is never read out for that (aria-live off).
export function counter(clock, at, { due, kind } = {}) {
  return el("span", { class: kind, "data-clock": clock, "data-at": at, "data-due": due, "aria-live": "off" });
}

// data-clock says how a node counts: since, age, due, in, stopped.
const WORDS = {
  long: (ms) => hmsLong(ms),
  since: (ms) => hms(ms),
  ago: (ms) => `${hms(ms)} ago`,
};

function show(node, now) {
  const { clock, at, due } = node.dataset;
  let text;
  if (clock === "due") {
    const left = Number(at) - now;
    const late = left <= 0;
    text = late ? `overdue ${hms(-left)}` : `${due} in ${hms(left)}`;
    node.closest("[data-late]")?.setAttribute("data-late", late ? "yes" : "no");
  } else {
    text = WORDS[clock](now - Number(at));
  }
  if (node.textContent !== text) node.textContent = text;
}

export function tick() {
  if (!base.known) return;
  const now = incidentNow();
  for (const node of document.querySelectorAll("[data-clock]")) show(node, now);
}
