// The step card: which step, who confirms it, by which words, what is missing, what follows.

import { byId, capital, el, mark, whenChanged } from "./dom.js";
import { counter, tick } from "./clock.js";

const SIDES = { inside: "The crew inside says", outside: "The officer outside says", either: "Inside or outside says" };

function progress(stages, branch) {
  const now = stages.findIndex((stage) => stage.place === "now");
  const words = now < 0 ? `Before stage 2: ${branch}` : `Stage ${now + 1} of ${stages.length}: ${stages[now].title}`;
  const bits = stages.map((stage) => el("span", { class: `bit ${stage.place}` }));
  return el("div", { class: "stages" }, el("p", { class: "stage" }, words), el("div", { class: "bits", "aria-hidden": "true" }, bits));
}

function phrases(step) {
  if (step.readback) return readback(step.readback);
  if (step.final) return null;
  const head = el("p", { class: "who" }, step.question ? `${SIDES[step.confirmed_by]} one of` : SIDES[step.confirmed_by]);
  const list = el("ul", { class: step.choices.length > 3 ? "say many" : "say" }, step.choices.map(phrase));
  return el("div", { class: "phrase", "data-side": step.confirmed_by }, head, list);
}

function phrase(choice) {
  return el("li", {}, `“${choice.say}”`);
}

function readback(asked) {
  const due = asked.lapses_ms === null ? null : counter("due", asked.lapses_ms, { due: "lapses" });
  return el(
    "div",
    { class: "phrase readback" },
    el("p", { class: "who" }, "Read back, not done yet"),
    el("p", { class: "heard" }, `“${asked.text}”`),
    el("p", { class: "who" }, "Waits for “affirmative” or “negative”; ", due),
  );
}

function repeats(step) {
  if (step.total < 2) return null;
  const dots = Array.from({ length: step.total }, (_, index) => {
    const done = step.done.includes(index + 1);
    return el("li", { class: done ? "done" : "" }, done ? mark("done") : "", `${index + 1}`, el("span", { class: "unseen" }, done ? " on record" : " to do"));
  });
  return el("div", { class: "repeats" }, el("span", {}, `${step.done.length} of ${step.total} on record`), el("ul", {}, dots));
}

function missing(step) {
  if (!step.missing.length) return null;
  const rows = step.missing.map((reason) => el("li", {}, mark("missing"), reason));
  return el("div", { class: "missing" }, el("p", {}, "Not yet:"), el("ul", {}, rows));
}

function told(step) {
  const both = step.inside && step.inside === step.outside;
  const rows = [];
  if (step.inside) rows.push([both ? "Both hear" : "Inside hears", step.inside]);
  if (step.outside && !both) rows.push(["Outside hears", step.outside]);
  return rows.map(([who, text]) => el("p", { class: "told" }, el("b", {}, `${who}: `), text));
}

function draw(step, stages) {
  byId("step").replaceChildren(
    step.emergency ? el("p", { class: "stage emergency" }, mark("alarm"), "Emergency steps") : progress(stages, step.stage),
    el("h2", { id: "step-title" }, step.title),
    repeats(step) ?? "",
    phrases(step) ?? "",
    missing(step) ?? "",
    ...told(step),
    step.caution ? el("p", { class: "care" }, mark("caution"), el("span", {}, el("b", {}, "Caution: "), step.caution)) : "",
    step.following.length ? el("p", { class: "next" }, el("b", {}, "Then: "), step.following.map(capital).join(" → ")) : "",
    el("p", { class: "standing" }, "This step since ", counter("since", step.since_ms, { kind: "figures" })),
  );
  byId("step").classList.toggle("in-emergency", step.emergency);
  tick();
}

export const showStep = whenChanged(draw);
