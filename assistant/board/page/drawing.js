// The cross-section, to scale: metres in, pixels out. Nothing is decided here.

import { byId, el, svg, whenChanged } from "./dom.js";

const HEIGHT = 330;
const LOW_M = -0.3;
const HEAD_ROOM_M = 0.3;
const LABEL_GAP = 24;

function person(height, at) {
  // Breadths as shares of stature; enough of a shape to see which way is up.
  const part = (share) => share * height;
  const y = (share) => at.y(part(share));
  const w = (share) => at.m(part(share));
  const x = at.x(0);
  return svg(
    "g",
    { class: "body" },
    svg("circle", { cx: x, cy: y(0.935), r: w(0.062) }),
    svg("path", {
      d: `M${x - w(0.12)} ${y(0.82)} h${w(0.24)} l${-w(0.03)} ${w(0.3)} v${w(0.52) - 2} h${-w(0.07)} v${-w(0.4)} h${-w(0.04)} v${w(0.4)} h${-w(0.07)} v${-w(0.52) + 2} z`,
    }),
  );
}

function pattern() {
  const dots = [[3, 3], [11, 8], [5, 13]].map(([cx, cy]) => svg("circle", { cx, cy, r: 1.6 }));
  return svg("defs", {}, svg("pattern", { id: "kernels", width: 16, height: 16, patternUnits: "userSpaceOnUse" }, svg("rect", { width: 16, height: 16, class: "bed" }), dots));
}

function spread(labels) {
  // Labels on one side keep their order and a readable distance.
  const sorted = [...labels].sort((one, two) => one.y - two.y);
  for (let i = 1; i < sorted.length; i += 1) sorted[i].at = Math.max(sorted[i].y, (sorted[i - 1].at ?? sorted[i - 1].y) + LABEL_GAP);
  for (const label of sorted) label.at ??= label.y;
  const over = sorted.length ? sorted.at(-1).at - (HEIGHT - 8) : 0;
  if (over > 0) {
    let floor = HEIGHT - 8;
    for (const label of sorted.toReversed()) {
      label.at = Math.min(label.at, floor);
      floor = label.at - LABEL_GAP;
    }
  }
  return sorted;
}

function labelled(labels, side, width, edge) {
  return spread(labels).map((label) =>
    svg(
      "g",
      { class: `label ${label.kind ?? ""}` },
      svg("path", { d: `M${label.x} ${label.y} L${edge} ${label.at} H${side === "left" ? 2 : width - 2}` }),
      svg("text", { x: side === "left" ? 2 : width - 2, y: label.at - 5, "text-anchor": side === "left" ? "start" : "end" }, label.text),
    ),
  );
}

function scaleBar(at, width, us) {
  const [length, text] = us ? [0.3048, "1 ft"] : [0.5, "50 cm"];
  const y = HEIGHT - 12;
  const x = width / 2 - at.m(length) / 2;
  return svg(
    "g",
    { class: "scale" },
    svg("path", { d: `M${x} ${y - 7} v7 h${at.m(length)} v-7` }),
    svg("text", { x: x + at.m(length) + 8, y: y + 3 }, text),
  );
}

// From above, to the same scale: the panels one by one, the person in the middle.
function plan(picture, perM) {
  const count = picture.panels.length;
  const radius = (picture.panel_width_m * perM) / (2 * Math.sin(Math.PI / count));
  const size = Math.max(60, radius + 30);
  const corner = (index) => {
    const turn = ((index - 0.5) / count) * 2 * Math.PI - Math.PI / 2;
    return [size + radius * Math.cos(turn), size + radius * Math.sin(turn)];
  };
  const walls = picture.panels.map((panel, index) => {
    const [a, b] = [corner(index), corner(index + 1)];
    const out = [(a[0] + b[0]) / 2 - size, (a[1] + b[1]) / 2 - size];
    const far = 1 + 17 / Math.hypot(...out);
    return svg(
      "g",
      { class: panel.stands ? "panel" : "panel absent" },
      svg("path", { d: `M${a} L${b}` }),
      svg("text", { x: size + out[0] * far, y: size + out[1] * far + 6, "text-anchor": "middle" }, String(panel.number)),
    );
  });
  const body = picture.person === "free" ? "" : svg("ellipse", { class: "body", cx: size, cy: size, rx: perM * 0.23, ry: perM * 0.14 });
  const stand = picture.panels.filter((panel) => panel.stands).length;
  const words = `Ring from above: ${stand} of ${count} panels stand`;
  return inset("Ring from above", svg("svg", { viewBox: `0 0 ${size * 2} ${size * 2}`, width: size * 2, height: size * 2, role: "img", "aria-label": words }, body, walls));
}

function binPlan(picture) {
  if (!picture.bin) return "";
  const size = 42;
  const ring = (picture.panel_width_m / picture.bin.diameter_m) * size * 2;
  const shape = svg(
    "svg",
    { viewBox: `0 0 ${size * 2 + 8} ${size * 2 + 8}`, width: size * 2 + 8, height: size * 2 + 8, class: "bin", role: "img", "aria-label": `${picture.bin.words}. The ring to the same scale; its place in the bin is not known.` },
    svg("circle", { cx: size + 4, cy: size + 4, r: size }),
    svg("rect", { x: size + 4 - ring / 2, y: size + 4 - ring / 2, width: ring, height: ring }),
  );
  return inset(picture.bin.words, shape);
}

function inset(words, shape) {
  return el("figure", {}, el("figcaption", {}, words), shape);
}

function scene(picture, width, us) {
  const top = Math.max(picture.height_m, picture.ring?.top_m ?? 0) + HEAD_ROOM_M;
  const perM = HEIGHT / (top - LOW_M);
  const at = { m: (metres) => metres * perM, x: (metres) => width / 2 + metres * perM, y: (metres) => HEIGHT - (metres - LOW_M) * perM };
  const half = (picture.ring?.width_m ?? picture.panel_width_m) / 2;
  const [left, right] = [at.x(-half), at.x(half)];
  const parts = [pattern()];
  if (picture.person === "held") parts.push(person(picture.height_m, at));
  const labels = { left: [], right: [] };
  const { inside, outside, ring } = picture;
  if (outside) {
    const y = at.y(outside.height_m);
    parts.push(svg("rect", { class: "grain", x: 0, y, width: left, height: HEIGHT - y }));
    parts.push(svg("rect", { class: "grain", x: right, y, width: width - right, height: HEIGHT - y }));
    labels.left.push({ y, x: left - at.m(0.35), text: `Outside: ${outside.mark}` });
    parts.push(svg("line", { class: "surface", x1: 0, x2: left, y1: y, y2: y }), svg("line", { class: "surface", x1: right, x2: width, y1: y, y2: y }));
  }
  if (inside) {
    const y = at.y(inside.height_m);
    parts.push(svg("rect", { class: "grain", x: left, y, width: right - left, height: HEIGHT - y }));
    parts.push(svg("line", { class: "surface now", x1: left, x2: right, y1: y, y2: y }));
    if (inside.words !== outside?.words && ring) labels.right.push({ y, x: right, text: `Inside: ${inside.mark}`, kind: "now" });
  }
  if (ring) {
    const [y1, y2] = [at.y(ring.top_m), at.y(ring.bottom_m)];
    for (const x of [left, right]) parts.push(svg("rect", { class: "wall", x: x - 4, y: y1, width: 8, height: y2 - y1 }));
    labels.left.push({ y: y2, x: left, text: "Ring ends" });
  }
  if (picture.person === "held") labels.right.push({ y: at.y(picture.target_m), x: right, text: `Goal: ${picture.target}`, kind: "goal" });
  parts.push(...labelled(labels.left, "left", width, Math.min(150, left - at.m(0.35))));
  parts.push(...labelled(labels.right, "right", width, Math.max(width - 130, right + 10)));
  parts.push(scaleBar(at, width, us));
  const section = svg("svg", { class: "section", viewBox: `0 0 ${width} ${HEIGHT}`, width, height: HEIGHT, role: "img", "aria-label": picture.words }, parts);
  return [section, el("div", { class: "insets" }, plan(picture, perM), binPlan(picture))];
}

export const drawSection = whenChanged((picture, width, us) => {
  if (picture.empty) {
    byId("section").replaceChildren(el("p", {}, picture.empty));
    return;
  }
  const beside = width >= 460;
  byId("section").classList.toggle("beside", beside);
  byId("section").replaceChildren(...scene(picture, beside ? width - 190 : width, us));
});
