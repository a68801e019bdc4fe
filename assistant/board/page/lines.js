// The form for one rescuer's lifeline: its tag and who holds it, when going in or changed later.

import { byId, el } from "./dom.js";

const MOST_TENDERS = 4;

export function lineOf(row) {
  if (!row.line && !row.tenders.length) return "no line recorded";
  const held = row.tenders.length ? `tender${row.tenders.length > 1 ? "s" : ""} ${row.tenders.join(", ")}` : "no tenders recorded";
  return `${row.line ? `line ${row.line}` : "no line recorded"}, ${held}`;
}

export function lineSheet(officer, view, slot, goingIn) {
  const { crew } = view.board;
  const known = crew.forms.find((form) => form.slot === slot) ?? { line: "", tenders: [] };
  const line = el("input", { id: "line", maxlength: "12", autocomplete: "off", autocapitalize: "characters", value: known.line });
  const others = el("input", { id: "others", maxlength: "200", autocomplete: "off" });
  const error = el("p", { class: "error", role: "alert" });
  const names = crew.tenders.map((name, index) => tenderPick(name, index, known.tenders.includes(name)));
  const form = el(
    "form",
    { onsubmit: (event) => {
      event.preventDefault();
      const tenders = tendersOf(others.value);
      if (tenders.length > MOST_TENDERS) error.textContent = `At most ${MOST_TENDERS} tenders for one line. Chosen: ${tenders.length}.`;
      else if (goingIn) officer.send("move", { slot, inside: true, line: line.value, tenders });
      else officer.send("line", { slot, line: line.value, tenders });
    } },
    el("label", { for: "line" }, "Lifeline, as on its tag"),
    line,
    names.length ? el("fieldset", {}, el("legend", {}, "Tenders"), names) : "",
    el("label", { for: "others" }, names.length ? "Other tenders, with commas between" : "Tenders, with commas between"),
    others,
    error,
    el("button", { type: "submit", class: "main" }, goingIn ? `Count rescuer ${slot} in` : "Write it down"),
  );
  const without = goingIn ? "Nothing known? Count the rescuer in at once and write the line down later." : "What was on record is replaced.";
  return { title: goingIn ? `Rescuer ${slot} going in` : `Line of rescuer ${slot}`, content: [form, el("p", { class: "small" }, without)] };
}

function tenderPick(name, index, checked) {
  const box = el("input", { type: "checkbox", name: "tender", id: `tender-${index}`, value: name, checked });
  return el("label", { class: "pick", for: `tender-${index}` }, box, name);
}

function tendersOf(written) {
  const chosen = [...byId("sheet").querySelectorAll('input[name="tender"]:checked')].map((box) => box.value);
  return [...chosen, ...written.split(",").map((name) => name.trim()).filter(Boolean)];
}
