// Making and changing elements. Text only ever goes in as text.

const SVG = "http://www.w3.org/2000/svg";

export const byId = (id) => document.getElementById(id);

function fill(node, attributes, children) {
  for (const [name, value] of Object.entries(attributes ?? {})) {
    if (value === null || value === undefined || value === false) continue;
    if (name === "onclick" || name === "onsubmit") node.addEventListener(name.slice(2), value);
    else node.setAttribute(name, value === true ? "" : String(value));
  }
  node.append(...children.flat().filter((child) => child !== null && child !== undefined && child !== ""));
  return node;
}

export function el(tag, attributes, ...children) {
  return fill(document.createElement(tag), attributes, children);
}

export function svg(tag, attributes, ...children) {
  return fill(document.createElementNS(SVG, tag), attributes, children);
}

export function setText(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

export function capital(text) {
  return text.slice(0, 1).toUpperCase() + text.slice(1);
}

// A section is drawn again only when what it shows has changed.
export function whenChanged(draw) {
  let before = null;
  return (...what) => {
    const now = JSON.stringify(what);
    if (now === before) return;
    before = now;
    draw(...what);
  };
}

// A mark whose shape carries the meaning, so that no colour has to.
const SHAPES = {
  good: [["circle", { cx: 12, cy: 12, r: 10 }], ["path", { d: "M7 12l4 4 6-8", class: "cut" }]],
  caution: [["path", { d: "M12 2l11 20H1z" }], ["path", { d: "M12 9v6M12 17.5v2", class: "cut" }]],
  warning: [["path", { d: "M12 2l11 20H1z" }], ["path", { d: "M12 9v6M12 17.5v2", class: "cut" }]],
  bad: [["path", { d: "M7.5 1h9L23 7.5v9L16.5 23h-9L1 16.5v-9z" }], ["path", { d: "M8 8l8 8M16 8l-8 8", class: "cut" }]],
  alarm: [["path", { d: "M7.5 1h9L23 7.5v9L16.5 23h-9L1 16.5v-9z" }], ["path", { d: "M12 6v8M12 16v2.5", class: "cut" }]],
  stale: [["path", { d: "M4 2h16l-7 10 7 10H4l7-10z" }]],
  unread: [["circle", { cx: 12, cy: 12, r: 9.5, class: "dashed" }]],
  done: [["path", { d: "M3 13l6 6L21 5", class: "stroke" }]],
  missing: [["path", { d: "M5 5l14 14M19 5L5 19", class: "stroke" }]],
};

export function mark(kind) {
  const parts = SHAPES[kind].map(([tag, attributes]) => svg(tag, attributes));
  return svg("svg", { viewBox: "0 0 24 24", class: `shape is-${kind}`, "aria-hidden": "true", focusable: "false" }, parts);
}
