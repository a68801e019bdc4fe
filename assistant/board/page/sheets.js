// The forms. Each gives a title, its content, and, if it must follow the incident, a key that says what it hangs on.

import { byId, capital, el, mark } from "./dom.js";
import { lineOf, lineSheet } from "./lines.js";

function button(words, does, kind = "") {
  return el("button", { type: "button", class: kind, onclick: does }, words);
}

function rows(...buttons) {
  return el("div", { class: "choices" }, ...buttons);
}

function reasonForm(label, send, words, hints = []) {
  const input = el("textarea", { id: "reason", rows: "3", maxlength: "300", minlength: "3", required: true });
  const picks = hints.map((hint) => button(hint, () => {
    input.value = hint;
    input.focus();
  }, "hint"));
  return el(
    "form",
    { onsubmit: (event) => {
      event.preventDefault();
      if (input.reportValidity()) send(input.value);
    } },
    el("label", { for: "reason" }, label),
    input,
    picks.length ? el("div", { class: "choices" }, picks) : "",
    el("button", { type: "submit", class: "main" }, words),
  );
}

export function pinSheet(officer) {
  const input = el("input", { id: "pin", inputmode: "numeric", pattern: "[0-9]{4,12}", autocomplete: "off", maxlength: "12", required: true, autofocus: true });
  const error = el("p", { class: "error", role: "alert" });
  const form = el(
    "form",
    { onsubmit: (event) => {
      event.preventDefault();
      officer.enter(input.value, (words) => {
        error.textContent = words;
        input.select();
      });
    } },
    el("label", { for: "pin" }, "PIN, as shown on the console"),
    input,
    error,
    el("button", { type: "submit", class: "main" }, "Sign in"),
  );
  return { title: "Officer's sign-in", content: [form] };
}

export function stepSheet(officer, view) {
  const { step, entries } = view.board;
  const content = [];
  if (step.missing.length) content.push(el("div", { class: "missing" }, el("p", {}, "Not yet:"), el("ul", {}, step.missing.map((reason) => el("li", {}, mark("missing"), reason)))));
  if (entries.may_confirm) {
    content.push(el("p", {}, step.question ? "Which answer?" : "Confirm that this is done:"));
    content.push(rows(...step.choices.map((choice) => button(`“${choice.say}”`, () => officer.send("confirm", { step: step.id, answer: choice.answer, number: choice.number }), "main"))));
    content.push(rows(button("Not done: say why\u00a0…", () => officer.show(refuseSheet)), button("Pass it with a reason\u00a0…", () => officer.show(overrideSheet))));
  } else {
    content.push(el("p", {}, "The crew inside confirms this step by voice. Has their headset failed, and did they tell you by radio or sign? Then confirm it for them:"));
    content.push(rows(...step.choices.map((choice) => button(`For the crew: “${choice.say}”\u00a0…`, () => officer.show((one, now) => relaySheet(one, now, choice)), "main"))));
    content.push(el("p", { class: "small" }, "Or:"), rows(button("Not done: say why\u00a0…", () => officer.show(refuseSheet)), button("Pass it with a reason\u00a0…", () => officer.show(overrideSheet))));
  }
  return { title: step.title, content, key: stepKey };
}

function stepKey(view) {
  const step = view.board?.step;
  return JSON.stringify([step?.id, step?.lacking]);
}

// Everything that holds for the crew's own word holds here: preconditions, read-back. Only the voice is the officer's.
export function relaySheet(officer, view, choice) {
  const { step } = view.board;
  const stands = step.choices.some((row) => row.say === choice.say && row.number === choice.number);
  if (!stands) return stepSheet(officer, view);
  const { answer, number } = choice;
  const form = reasonForm(
    "How do you know? This is written into the record.",
    (reason) => officer.send("relay", { step: step.id, answer, number, reason }),
    "Confirm it for the crew",
    ["Headset failed, heard by radio", "Headset failed, seen from the hatch"],
  );
  return { title: `For the crew: “${choice.say}”`, content: [form, el("p", { class: "small" }, "What must be true first is still checked.")], key: stepKey };
}

export function overrideSheet(officer, view) {
  const { step } = view.board;
  const answers = step.question ? step.choices : [];
  let answer = null;
  const picks = answers.map((choice) => {
    const radio = el("input", { type: "radio", name: "answer", id: `answer-${choice.answer}`, required: true, value: choice.answer });
    radio.addEventListener("change", () => {
      answer = choice.answer;
    });
    return el("label", { class: "pick", for: `answer-${choice.answer}` }, radio, choice.say);
  });
  const without = step.lacking;
  const missing = without.length
    ? el("div", { class: "missing" }, el("p", {}, "You pass it without:"), el("ul", {}, without.map((reason) => el("li", {}, mark("missing"), reason))))
    : el("p", {}, "Nothing that must be true first is missing.");
  const outside = step.confirmed_by === "inside" ? el("p", { class: "small" }, "The crew inside has not confirmed it. Bad or old air, and people still inside, cannot be passed.") : "";
  const form = reasonForm(
    "Why? This is written into the record.",
    (reason) => officer.send("override", { step: step.id, reason, answer, without }),
    `Pass “${step.title}”`,
    ["Ordered by command", "Done another way"],
  );
  if (picks.length) form.prepend(el("fieldset", {}, el("legend", {}, "Answer"), picks));
  return { title: `Pass: ${step.title}`, content: [missing, form, outside], key: stepKey };
}

export function refuseSheet(officer, view) {
  const { step } = view.board;
  const form = reasonForm("Why is it not done? The step stays; the reason is written into the record.", (reason) => officer.send("refuse", { step: step.id, reason }), "Write it down");
  return { title: `Not done: ${step.title}`, content: [form], key: (now) => now.board?.step.id ?? "" };
}

export function enterSheet(officer, view) {
  return { title: "Enter", content: [rows(...officer.entering(view.board.grain))] };
}

export function airSheet(officer, view) {
  const { entries } = view.board;
  const { gases } = entries;
  const value = el("input", { id: "reading", inputmode: "decimal", pattern: "[0-9]{1,6}([.][0-9]{1,3})?", autocomplete: "off", maxlength: "10", required: true });
  const unit = el("span", { class: "unit", id: "unit" }, gases[0].unit);
  const gas = picks("gas", "Gas", gases.map((row) => [row.gas, row.name]), (chosen) => {
    unit.textContent = gases.find((row) => row.gas === chosen).unit;
  });
  const place = picks("place", "Where", entries.places.map((name) => [name, `at the ${name}`]), () => {}, entries.place);
  const form = el(
    "form",
    { onsubmit: (event) => {
      event.preventDefault();
      officer.send("air", { gas: chosen("gas"), value: value.value, place: chosen("place") });
    } },
    gas,
    place,
    el("label", { for: "reading" }, "Reading"),
    el("div", { class: "inline" }, value, unit),
    el("button", { type: "submit", class: "main" }, "Enter the reading"),
  );
  return { title: "Air reading", content: [form, el("p", { class: "small" }, "A reading within limits is read back first; one outside orders everyone out at once.")] };
}

function picks(name, legend, options, change, first = options[0][0]) {
  const labels = options.map(([value, words]) => {
    const radio = el("input", { type: "radio", name, id: `${name}-${value}`, value, checked: value === first });
    radio.addEventListener("change", () => change(value));
    return el("label", { class: "pick", for: `${name}-${value}` }, radio, capital(words));
  });
  return el("fieldset", {}, el("legend", {}, legend), labels);
}

function chosen(name) {
  return byId("sheet").querySelector(`input[name="${name}"]:checked`)?.value;
}

export function grainSheet(officer, view) {
  const { entries, grain } = view.board;
  const number = entries.canister_next;
  const level = entries.marks.map((row) => button(`Grain at ${row.words}`, () => officer.send("level", { mark: row.value })));
  return {
    title: "Canisters and level",
    content: [
      grain.counting ? "" : el("p", {}, "The crew is not taking grain out in this step."),
      rows(button(`Canister ${number} is full`, () => officer.send("canister", { number }), "main")),
      el("p", {}, "Where does the grain stand on the person now?"),
      rows(...level),
      el("p", {}, "With a tape"),
      rows(button("Corner, rim to grain\u00a0…", () => officer.show(cornerSheet)), button("Grain outside a panel\u00a0…", () => officer.show(outsideSheet))),
    ],
    key: (now) => String(now.board?.entries.canister_next),
  };
}

export function cornerSheet(officer, view) {
  const help = "Vacuum stopped: from the rim of the ring straight down to the grain.";
  return { title: "Taped corner", content: tapeForm(view, ["corner", "Corner"], help, (corner, down) => officer.send("corner", { corner, down })) };
}

export function outsideSheet(officer, view) {
  const help = "How much higher the grain stands outside this panel than inside the ring.";
  return { title: "Grain outside a panel", content: tapeForm(view, ["panel", "Panel"], help, (panel, higher) => officer.send("outside", { panel, higher })) };
}

function tapeForm(view, [name, word], help, send) {
  const numbers = view.board.drawing.panels.map((panel) => [String(panel.number), `${word} ${panel.number}`]);
  const value = el("input", { id: "length", inputmode: "decimal", pattern: "[0-9]{1,6}([.][0-9]{1,3})?", autocomplete: "off", maxlength: "10", required: true });
  const form = el(
    "form",
    { onsubmit: (event) => {
      event.preventDefault();
      send(Number(chosen(name)), value.value);
    } },
    picks(name, word, numbers, () => {}),
    el("label", { for: "length" }, "Length"),
    el("div", { class: "inline" }, value, el("span", { class: "unit" }, view.units === "us" ? "inches" : "cm")),
    el("button", { type: "submit", class: "main" }, "Enter the length"),
  );
  return [el("p", {}, help), form];
}

export function crewSheet(officer, view) {
  const { crew, entries } = view.board;
  const out = entries.coming_out.map((slot) => button(`Rescuer ${slot} is out`, () => officer.send("move", { slot, inside: false }), "main"));
  const lines = crew.inside.map((one) => button(`Rescuer ${one.slot}: ${lineOf(one)}\u00a0…`, () => officer.show((of, now) => lineSheet(of, now, one.slot, false))));
  const going = entries.going_in.map((slot) => button(`Rescuer ${slot} going in\u00a0…`, () => officer.show((of, now) => lineSheet(of, now, slot, true))));
  return {
    title: "People",
    content: [
      rows(button("Roll call: all accounted for", () => officer.send("roll_call")), button("Person is answering", () => officer.send("person"))),
      out.length ? el("p", {}, "Coming out") : "",
      rows(...out),
      el("p", {}, "Going in"),
      rows(...going),
      lines.length ? el("p", {}, "Lifelines and tenders") : "",
      rows(...lines),
    ],
    key: (now) => JSON.stringify([now.board?.entries.coming_out, now.board?.entries.going_in, now.board?.crew.inside.map(lineOf)]),
  };
}

export function moreSheet(officer, view) {
  const { entries, step } = view.board;
  return {
    title: "More",
    content: [
      el("p", {}, entries.last_entry ? `Last entry: ${entries.last_entry}. Taking it back keeps it in the record.` : "Nothing has been entered that could be taken back."),
      rows(
        entries.last_entry ? button(`Take back: ${entries.last_entry}`, () => officer.send("correct", { entries: entries.entries }), "main") : "",
        entries.back_to ? button(`Go back to: ${entries.back_to}`, () => officer.send("step_back", { step: step.id })) : "",
        button("Say the step again", () => officer.send("say_again")),
        button("Pass this step with a reason\u00a0…", () => officer.show(overrideSheet)),
        button("Write a note\u00a0…", () => officer.show(noteSheet)),
        button("End the work\u00a0…", () => officer.show(endSheet)),
        button("Print", () => {
          officer.sheet.close();
          window.print();
        }),
        button("Sign out", () => officer.leave()),
      ),
      el("p", { class: "small" }, `You are ${officer.station}. For a large screen at the command post open /post.`),
    ],
    key: (now) => JSON.stringify([now.board?.entries.entries, now.board?.step.id]),
  };
}

export function noteSheet(officer) {
  return { title: "Note for the record", content: [reasonForm("What should the record say?", (text) => officer.send("note", { text }), "Write it down")] };
}

export function endSheet(officer) {
  const form = reasonForm("Why does the work end here? This is written into the record.", (reason) => officer.send("end_work", { reason }), "End the work: stand down");
  return { title: "End the work", content: [el("p", {}, "Goes on to standing down from whatever step it is. It is refused while anybody is inside the bin."), form] };
}

export function resumeSheet(officer) {
  return {
    title: "Resume all work?",
    content: [el("p", {}, "All work is held. Everyone hears that it goes on."), rows(button("Resume all work", () => officer.send("resume"), "main"), button("Keep holding", () => officer.sheet.close()))],
  };
}

export function emergencySheet(officer, view) {
  const { entries, alarms } = view.board;
  const open = alarms.find((row) => row.key.startsWith("emergency:"));
  const kinds = entries.emergencies.map((row) => button(row.words, () => officer.send("raise", { kind: row.value }), "urgent"));
  return {
    title: "Emergency: everyone hears it at once",
    content: [
      rows(...kinds),
      open ? rows(button(`Withdraw: ${open.text.slice("Emergency: ".length)} was a mistake`, () => officer.send("withdraw", { kind: open.key.slice("emergency:".length) }))) : "",
    ],
    key: (now) => String(now.board?.alarms.find((row) => row.key.startsWith("emergency:"))?.key),
  };
}
