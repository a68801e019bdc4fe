// What both pages do: take updates, draw the sections, tell the truth about the connection, day and night.

import { byId, el, setText } from "./dom.js";
import { hms, hmsLong, incidentNow, setClock, stopClock, tick } from "./clock.js";
import { Link, LOOP_QUIET_S } from "./link.js";
import { showStep } from "./step.js";
import { showAir, showAlarms, showClocks, showCrew, showEvents } from "./show.js";
import { showGrain } from "./grain.js";
import { drawSection } from "./drawing.js";
import { drawPlot } from "./plot.js";

const KINDS = { live: "Incident", drill: "DRILL", rehearsal: "REHEARSAL" };
// A closed incident has no news: a lost connection is no alarm then.
const LINK_WORDS = { live: "Live", lost: "Out of date", quiet: "Program silent", closed: "Closed" };
let view = null;
let seenAt = null;
let lostSince = null;

export function current() {
  return view;
}

function draw() {
  if (!view) return;
  const kind = view.opened ? (KINDS[view.kind] ?? view.kind) : "Waiting";
  byId("title").replaceChildren(kind, el("span", { class: "rest" }, view.opened ? `: ${view.title}` : " for the incident to be opened"));
  setText(byId("caution"), view.caution);
  document.title = view.board ? `${view.board.step.title} – board` : "Officer's board";
  showEvents(view.lines);
  const board = view.board;
  if (!board) return;
  showAlarms(board.alarms);
  showStep(board.step, board.stages);
  showClocks(board.clocks, view.opened, board.crew, board.grain, board.drawing.person);
  showCrew(board.crew, board.stations);
  showAir(board.air);
  showGrain(board.grain, board.drawing);
  const picture = { ...board.drawing, target: board.grain.target, target_m: board.grain.target_m };
  if (!board.drawing.outside && !board.drawing.inside) picture.empty = board.drawing.person === "unseen" ? "The person has not been reported visible: nothing to draw yet." : "Nobody has said how deep the person is: nothing to draw yet.";
  drawSection(picture, Math.max(300, Math.floor(byId("section").clientWidth)), view.units === "us");
  drawPlot(board.grain, board.grain.finish ? view.at_ms : lastCall(board.grain, view.at_ms), Math.max(300, Math.floor(byId("plot").clientWidth) - 36));
}

// Without a forecast the plot need not move with the clock.
function lastCall(grain, now) {
  return Math.max(0, ...grain.canisters_ms, ...grain.levels.map((level) => level.at_ms)) || now;
}

function showLink(state) {
  const shown = view?.closed ? "closed" : state;
  byId("link").dataset.link = shown;
  byId("link").dataset.record = view?.n ?? 0;
  document.body.dataset.link = shown;
  lostSince = shown === "live" || shown === "closed" ? null : (lostSince ?? performance.now());
  tellStale(shown);
  setText(byId("link-words"), LINK_WORDS[shown]);
  setText(byId("link-record"), view ? ` record ${view.n}` : "");
}

// The words are read out once; how long ago goes on counting in silence.
function tellStale(state = byId("link").dataset.link) {
  byId("stale").hidden = state === "live" || state === "closed";
  if (byId("stale").hidden) return;
  const what = {
    lost: view ? `OUT OF DATE: connection lost. Last seen at ${hmsLong(seenAt.incident)}` : "No connection to the program yet. Trying again.",
    quiet: "OUT OF DATE: the assistant program is not answering. Last seen",
  }[state];
  setText(byId("stale-words"), what);
  setText(byId("stale-ago"), view ? `, ${hms(performance.now() - seenAt.performance)} ago. Trying again; nothing below is newer than that.` : "");
}

function seen() {
  seenAt = { incident: incidentNow(), performance: performance.now() };
}

function theme() {
  const button = byId("theme");
  const wants = window.matchMedia("(prefers-color-scheme: dark)");
  const saved = localStorage.getItem("board-theme");
  const set = (name) => {
    document.documentElement.dataset.theme = name;
    setText(button, name === "night" ? "Day" : "Night");
    button.setAttribute("aria-label", name === "night" ? "Switch to the day colours" : "Switch to the night colours");
  };
  set(saved ?? (wants.matches ? "night" : "day"));
  button.addEventListener("click", () => {
    const name = document.documentElement.dataset.theme === "night" ? "day" : "night";
    localStorage.setItem("board-theme", name);
    set(name);
  });
}

export function begin({ onView = () => {}, onCaughtUp = () => {}, onLink = () => {} } = {}) {
  theme();
  new Link({
    onUpdate(update) {
      const away = lostSince !== null && view !== null;
      if (update.view.closed) stopClock(update.view.at_ms);
      else setClock(update.view.at_ms);
      seen();
      view = update.view;
      draw();
      showLink("live");
      if (away) onCaughtUp(update);
      onView(view);
    },
    onBeat(beat) {
      setClock(beat.now);
      if (beat.quiet_s < LOOP_QUIET_S) seen();
      tick();
    },
    onState(state) {
      showLink(state);
      onLink(state);
    },
  });
  setInterval(tick, 250);
  setInterval(() => tellStale(), 500);
  new ResizeObserver(draw).observe(document.body);
}
