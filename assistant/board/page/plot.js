// Canisters, levels and the expected finish, over the incident's own clock.

import { byId, el, svg, whenChanged } from "./dom.js";
import { hms } from "./clock.js";

const HEIGHT = document.body.classList.contains("post") ? 190 : 240;
const LEFT = 110;
const BOTTOM = 44;
const STEPS_MS = [60e3, 120e3, 300e3, 600e3, 1200e3, 1800e3, 3600e3];

function ticks(from, to, width) {
  const most = Math.max(2, Math.floor(width / 110));
  const step = STEPS_MS.find((size) => (to - from) / size <= most) ?? 7200e3;
  const found = [];
  for (let at = Math.ceil(from / step) * step; at <= to; at += step) found.push(at);
  return found;
}

function axis(grain, x, y, width, marks, times) {
  let above = Infinity;
  const named = new Set([grain.target, ...grain.levels.map((level) => level.mark)]);
  const rows = marks
    .filter(([name]) => named.has(name))
    .toSorted((one, two) => one[1] - two[1])
    .map(([name, height]) => {
      const crowded = above - y(height) < 19;
      if (!crowded) above = y(height);
      return svg(
        "g",
        { class: name === grain.target ? "goal" : "mark" },
        svg("line", { x1: LEFT, x2: width, y1: y(height), y2: y(height) }),
        crowded ? "" : svg("text", { x: LEFT - 8, y: y(height) + 6, "text-anchor": "end" }, name),
      );
    });
  const columns = times.map((at) => svg("g", { class: "time" }, svg("line", { x1: x(at), x2: x(at), y1: HEIGHT - BOTTOM, y2: HEIGHT - BOTTOM + 6 }), svg("text", { x: x(at), y: HEIGHT - 4, "text-anchor": "middle" }, hms(at))));
  return [...rows, ...columns];
}

function forecast(grain, now, x, y, last) {
  if (!grain.finish || !last) return [];
  const [early, middle, late] = [grain.finish.low, grain.finish.value, grain.finish.high].map((seconds) => x(now + seconds * 1000));
  const goal = y(grain.target_m);
  const start = [x(last.at_ms), y(last.height_m)];
  return [
    svg("path", { class: "fan", d: `M${start} L${early} ${goal} L${late} ${goal} z` }),
    svg("path", { class: "guess", d: `M${start} L${middle} ${goal}` }),
    svg("path", { class: "goal-mark", d: `M${middle} ${goal - 9} l9 9 -9 9 -9 -9z` }),
  ];
}

function canisters(grain, x) {
  const gap = 22;
  let after = -Infinity;
  return grain.canisters_ms.map((at, index) => {
    const crowded = x(at) - after < gap && index + 1 < grain.canisters_ms.length;
    if (!crowded) after = x(at);
    return svg(
      "g",
      { class: "can" },
      svg("rect", { x: x(at) - 4, y: HEIGHT - BOTTOM - 16, width: 8, height: 16 }),
      crowded ? "" : svg("text", { x: x(at), y: HEIGHT - BOTTOM - 21, "text-anchor": "middle" }, String(index + 1)),
    );
  });
}

function graph(grain, now, width) {
  const first = Math.min(now, ...grain.canisters_ms, ...grain.levels.map((level) => level.at_ms));
  const end = Math.max(now, now + (grain.finish?.high ?? 0) * 1000) + 20e3;
  const highest = Math.max(grain.target_m + 0.2, ...grain.levels.map((level) => level.height_m));
  const marks = grain.marks.filter(([, height]) => height <= highest + 0.01);
  const x = (at) => LEFT + 10 + ((at - first) / (end - first || 1)) * (width - LEFT - 30);
  const y = (height) => 14 + (1 - height / highest) * (HEIGHT - BOTTOM - 62);
  const last = grain.levels.at(-1);
  const path = grain.levels.map((level, index) => (index ? `H${x(level.at_ms)} V${y(level.height_m)}` : `M${x(level.at_ms)} ${y(level.height_m)}`)).join(" ");
  return svg(
    "svg",
    { class: "graph", viewBox: `0 0 ${width} ${HEIGHT}`, width, height: HEIGHT, role: "img", "aria-label": words(grain, now) },
    axis(grain, x, y, width, marks, ticks(first, end, width - LEFT)),
    forecast(grain, now, x, y, last),
    path ? svg("path", { class: "levels", d: last ? `${path} H${x(now)}` : path }) : "",
    grain.levels.map((level) => svg("circle", { class: "called", cx: x(level.at_ms), cy: y(level.height_m), r: 6 })),
    canisters(grain, x),
    svg("line", { class: "now-line", x1: x(now), x2: x(now), y1: 4, y2: HEIGHT - BOTTOM }),
    svg("text", { class: "now-word", x: x(now) + 5, y: 16 }, "now"),
  );
}

export function words(grain, now) {
  const cans = grain.canisters_ms.length;
  const parts = [`${cans} ${cans === 1 ? "canister" : "canisters"} counted`];
  if (grain.level) parts.push(`grain last called at the ${grain.level}`);
  if (grain.finish) {
    const [low, high] = [grain.finish.low, grain.finish.high].map((seconds) => hms(now + seconds * 1000));
    parts.push(`at this pace the ${grain.target} show between ${low} and ${high} on the incident clock`);
  }
  return `${parts.join("; ")}.`;
}

export const drawPlot = whenChanged((grain, now, width) => {
  const called = grain.levels.length || grain.canisters_ms.length;
  byId("plot").replaceChildren(
    el("h2", { id: "plot-head" }, "Grain going out"),
    el("p", { class: "small" }, called ? `${words(grain, now)} Numbered blocks: canisters; diamond: expected; shaded: range.` : "Nothing counted yet. Canisters and grain levels appear here as they are called."),
    called ? graph(grain, now, width) : "",
  );
});
