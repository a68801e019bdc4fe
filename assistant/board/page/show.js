// Alarms, clocks, people, air, and the story.

import { byId, capital, el, mark, svg, whenChanged } from "./dom.js";
import { counter, hms, hmsLong, tick } from "./clock.js";

// A row that stays is the same element, so that a screen reader reads out only what is new.
let alarmsShown = new Map();

export const showAlarms = whenChanged((alarms) => {
  const kept = new Map(alarms.map((row) => JSON.stringify(row)).map((key, index) => [key, alarmsShown.get(key) ?? alarm(alarms[index])]));
  alarmsShown = kept;
  const host = byId("alarms");
  for (const gone of [...host.children].filter((node) => ![...kept.values()].includes(node))) gone.remove();
  [...kept.values()].forEach((node, index) => {
    if (host.children[index] !== node) host.insertBefore(node, host.children[index] ?? null);
  });
  tick();
});

function alarm(row) {
  const since = row.since_ms === null ? null : counter("ago", row.since_ms, { kind: "figures since" });
  return el(
    "div",
    { class: `alarm ${row.grade}` },
    mark(row.grade),
    el("p", {}, el("b", {}, `${row.grade.toUpperCase()}: `), el("strong", {}, row.title), el("span", { class: "what" }, row.text)),
    since,
  );
}

export const showClocks = whenChanged((clocks, opened, crew, grain, person) => {
  const tiles = clocks.filter((tile) => tile.key !== "call").map(clock);
  byId("clocks").replaceChildren(tally(crew), ...tiles, person === "free" ? "" : left(grain));
  const call = clocks.find((tile) => tile.key === "call");
  const face = byId("call-clock");
  if (opened && call?.stopped_ms === null) Object.assign(face.dataset, { clock: "long", at: "0" });
  else {
    delete face.dataset.clock;
    face.textContent = opened ? hmsLong(call?.stopped_ms ?? 0) : "–";
  }
  tick();
});

function tally(crew) {
  const relief = Math.min(...crew.inside.map((one) => one.relief_ms));
  const due = crew.inside.length
    ? counter("due", relief, { kind: "due figures", due: "first relief" })
    : el("span", { class: "due" }, crew.out.length ? "everyone is out" : "nobody has gone in");
  return el("div", { class: "tile", "data-late": "no" }, el("span", { class: "label" }, "People inside"), el("span", { class: "face" }, `${crew.inside.length}`), due);
}

// Only a range: a single number would say more than anybody knows.
function left(grain) {
  if (!grain.level && !grain.canisters_ms.length) return "";
  const leak = { leak: "RING LEAKS", "none seen": "ring: no leak seen", "cannot tell": "leak: not known yet" }[grain.leak] ?? "";
  return el(
    "div",
    { class: "tile", "data-late": grain.leak === "leak" ? "yes" : "no" },
    el("span", { class: "label" }, `Grain above ${grain.target}`),
    el("span", { class: "face figures" }, grain.volume?.range ?? "not known"),
    el("span", { class: "due" }, leak),
  );
}

function clock(tile) {
  const face = tile.stopped_ms === null
    ? counter("since", tile.since_ms, { kind: "face figures" })
    : el("span", { class: "face figures" }, hms(tile.stopped_ms), el("span", { class: "unseen" }, " stopped"));
  const due = tile.due_ms === null || tile.stopped_ms !== null
    ? el("span", { class: "due" }, tile.stopped_ms === null ? "" : "stopped")
    : counter("due", tile.due_ms, { kind: "due figures", due: tile.due_title });
  return el("div", { class: "tile", "data-late": "no" }, el("span", { class: "label" }, tile.title), face, due);
}

export const showCrew = whenChanged((crew, stations) => {
  const count = crew.inside.length;
  const inside = crew.inside.map((one) =>
    el(
      "li",
      { "data-late": one.overdue ? "yes" : "no" },
      el("b", {}, one.name),
      el("span", { class: "figures" }, counter("since", one.entered_ms), " inside"),
      counter("due", one.relief_ms, { kind: "due figures", due: "relief" }),
      onLine(one),
    ),
  );
  const out = crew.out.length ? el("p", { class: "out" }, `Out again: ${crew.out.map((one) => `${one.name}${one.line ? `, line ${one.line}` : ""} (${hms(one.left_ms - one.entered_ms)})`).join(", ")}`) : "";
  byId("crew").replaceChildren(
    el("h2", { id: "crew-head" }, "Inside the bin: ", el("span", { class: "count" }, count === 0 ? "nobody" : `${count}`)),
    count ? el("ul", { class: "people" }, inside) : "",
    ...crew.lacks.map(lack),
    out,
    headsets(stations),
  );
  tick();
});

// Line and tenders as recorded, and what the record lacks.
function onLine(one) {
  const known = one.line || one.tenders.length ? el("span", {}, el("b", {}, one.line ? `Line ${one.line}` : ""), one.tenders.length ? `${one.line ? ": " : "Tenders: "}${one.tenders.join(", ")}` : "") : "";
  return el("div", { class: "line" }, known, one.lacks.map(lack));
}

function lack(words) {
  return el("p", { class: "lack" }, mark("caution"), capital(words));
}

// One row for each headset: its link in words, since when, its battery, and what its radio check measured.
function headsets(stations) {
  if (!stations.rows.length) return "";
  const rows = stations.rows.map((one) =>
    el(
      "li",
      { "data-late": one.link === "lost" || one.low || one.radio_bad ? "yes" : "no" },
      one.link === "lost" ? mark("alarm") : "",
      el("b", {}, `Headset ${one.name}`),
      el("span", {}, one.role === "both" ? "inside and outside" : one.role),
      el("span", { class: "figures" }, `${one.words}, `, counter("since", one.since_ms)),
      el("span", { class: "due" }, one.battery === null ? "" : `battery ${one.battery} %`),
      one.radio ? el("div", { class: "line" }, one.radio_bad ? lack(one.radio) : el("p", {}, one.radio)) : "",
    ),
  );
  return el(
    "div",
    {},
    el("h3", {}, "Headsets"),
    el("ul", { class: "people" }, rows),
    stations.leader ? el("p", { class: "small" }, `Led by ${stations.leader}, by order.`) : "",
  );
}

export const showAir = whenChanged((air) => {
  const head = ["Gas", "At the hatch", "At the person", "Leave if"].map((text) => el("th", { scope: "col" }, text));
  byId("air").replaceChildren(
    el("h2", { id: "air-head" }, "Air as read"),
    el("div", { class: "wide" }, el("table", {}, el("thead", {}, el("tr", {}, head)), el("tbody", {}, air.rows.map(gas)))),
    el("p", { class: "small" }, el("b", {}, "Not read by anybody: "), air.not_read.length ? air.not_read.join(", ") : "none of the gases listed", ". ", air.caution, " Dots: readings in time, ○ at the hatch, ● at the person."),
  );
  tick();
});

function gas(row) {
  return el(
    "tr",
    {},
    el("th", { scope: "row" }, capital(row.name), trend(row)),
    row.cells.map((cell) => reading(cell, row.unit)),
    el("td", { class: "limits" }, limits(row)),
  );
}

function reading(cell, unit) {
  const where = `At the ${cell.place}`;
  if (cell.value === null) {
    return el("td", { class: "cell is-unread", "data-place": where }, el("span", { class: "verdict" }, mark("unread"), cell.words));
  }
  const arrow = { rising: "rising ↗", falling: "falling ↘", steady: "steady" }[cell.way] ?? "";
  return el(
    "td",
    { class: `cell is-${cell.verdict}`, "data-place": where },
    el("span", { class: "value figures" }, cell.value),
    el("span", { class: "unit" }, unit),
    el("span", { class: "verdict" }, mark(cell.verdict), cell.words),
    el("span", { class: "age figures" }, counter("ago", cell.at_ms), arrow ? `, ${arrow}` : ""),
  );
}

function limits(row) {
  const say = (verdict) => row.bounds.filter((bound) => bound.verdict === verdict).map((bound) => (bound.words === "from" ? `${bound.value} or more` : `${bound.words} ${bound.value}`));
  const [leave, care] = [say("bad"), say("caution")];
  return [el("b", {}, leave.join(" or "), " ", row.unit), care.length ? el("span", { class: "care-limit" }, `caution ${care.join(" or ")}`) : ""];
}

// A small trend: filled dots at the person, rings at the hatch, dashed lines for limits that fall inside its scale.
function trend(row) {
  if (row.trend.length < 2) return "";
  const [width, height] = [112, 30];
  const values = row.trend.map((point) => Number(point.value));
  const span = Math.max(...values) - Math.min(...values) || 1;
  const [low, high] = [Math.min(...values) - span * 0.25, Math.max(...values) + span * 0.25];
  const [first, last] = [row.trend[0].at_ms, row.trend.at(-1).at_ms];
  const x = (at) => 6 + ((at - first) / (last - first || 1)) * (width - 12);
  const y = (value) => height - 4 - ((value - low) / (high - low)) * (height - 8);
  const dots = row.trend.map((point) =>
    svg("circle", { cx: x(point.at_ms).toFixed(1), cy: y(Number(point.value)).toFixed(1), r: 4, class: point.place === "person" ? "dot" : "ring" }),
  );
  const paths = ["hatch", "person"].map((place) => row.trend.filter((point) => point.place === place)).filter((points) => points.length > 1);
  const joined = paths.map((points) => svg("path", { d: `M${points.map((point) => `${x(point.at_ms).toFixed(1)} ${y(Number(point.value)).toFixed(1)}`).join(" L")}` }));
  const lines = row.bounds.filter((bound) => Number(bound.value) > low && Number(bound.value) < high);
  return svg(
    "svg",
    { class: "trend", viewBox: `0 0 ${width} ${height}`, role: "img", "aria-label": `${row.trend.length} readings, newest ${row.trend.at(-1).value}` },
    lines.map((bound) => svg("line", { x1: 0, x2: width, y1: y(Number(bound.value)), y2: y(Number(bound.value)), class: "limit" })),
    joined,
    dots,
  );
}

export const showEvents = whenChanged((lines) => {
  const rows = [...lines].reverse().map((line) =>
    el(
      "li",
      { class: line.sort },
      el("span", { class: "figures at" }, hmsLong(line.at_ms)),
      el("span", {}, line.who ? el("b", {}, `${line.who}: `) : "", line.sort === "alarm" ? mark("alarm") : "", line.text),
    ),
  );
  byId("events").replaceChildren(el("h2", { id: "events-head" }, "Last events, newest first"), el("ol", { class: "story", tabindex: "0", "aria-labelledby": "events-head" }, rows));
});
