// Grain inside the ring in numbers, beside the drawing.

import { byId, el, mark, whenChanged } from "./dom.js";
import { counter, tick } from "./clock.js";

function ring(grain) {
  if (!grain.leak) return null;
  const kind = { leak: "alarm", "none seen": "good", "cannot tell": "unread" }[grain.leak];
  const words = { leak: "Ring leaks", "none seen": "No leak seen", "cannot tell": "Ring leak: not known yet" }[grain.leak];
  return el("p", { class: `ring-state ${grain.leak === "leak" ? "bad" : ""}` }, mark(kind), el("span", {}, el("b", {}, words), grain.leak === "leak" ? `: ${grain.leak_words}` : ""));
}

function numbers(grain, picture) {
  const rows = [];
  if (picture.person === "free") rows.push(el("p", { class: "left" }, "The person is free of the grain."));
  else if (grain.volume) {
    rows.push(el("p", { class: "left" }, el("span", { class: "label" }, `Left above the ${grain.target}`), el("strong", { class: "figures" }, grain.volume.shown)));
    if (grain.canisters) rows.push(el("p", {}, `${grain.canisters.shown} to go`));
  } else rows.push(el("p", { class: "small" }, grain.why));
  rows.push(el("p", {}, `${grain.canisters_ms.length} ${grain.canisters_ms.length === 1 ? "canister" : "canisters"} out so far`));
  if (grain.level) rows.push(el("p", {}, `Called at the ${grain.level} `, counter("ago", grain.level_ms, { kind: "figures" })));
  if (grain.finish) rows.push(el("p", {}, `Expected at the ${grain.target} in ${grain.finish.shown}`));
  return rows;
}

function known(picture) {
  const parts = [picture.outside?.words, picture.ring?.words, picture.panels_words.replace(/[.]$/, ""), picture.height_words, "To scale"];
  return `${parts.filter(Boolean).join(". ")}.`;
}

export const showGrain = whenChanged((grain, picture) => {
  const host = byId("grain");
  const section = byId("section") ?? el("div", { id: "section" });
  host.replaceChildren(
    el("h2", { id: "grain-head" }, "Grain in the ring"),
    el("div", { class: "numbers" }, ...numbers(grain, picture), ring(grain) ?? ""),
    section,
    picture.outside || picture.inside ? el("p", { class: "small" }, known(picture)) : "",
  );
  tick();
});
