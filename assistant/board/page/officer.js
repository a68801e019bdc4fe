// The officer's bar and sheets. Every press becomes one action; the bar says what the record answered.

import { byId, el, mark } from "./dom.js";
import { act, signIn, signOut, whoAmI } from "./send.js";
import * as sheets from "./sheets.js";

const MARKS = { recorded: "done", refused: "bad", outdated: "caution", unknown: "caution", sending: "stale", note: "done" };

export class Officer {
  constructor() {
    this.view = null;
    this.station = "";
    this.busy = false;
    this.answer = null;
    this.shown = "";
    this.open = null;
    this.sheet = byId("sheet");
    this.sheet.addEventListener("close", () => {
      this.open = null;
    });
    this.learn();
  }

  async learn() {
    try {
      this.station = (await whoAmI()).station;
    } catch {
      this.station = "";
    }
    this.draw();
  }

  see(view) {
    this.view = view;
    this.draw();
    if (this.open && this.open.follows && this.open.key(view) !== this.open.made) this.showAgain();
  }

  linked() {
    this.draw();
  }

  caughtUp(update) {
    const count = update.n - update.after;
    if (count > 0) this.tell("note", `Caught up: ${count} ${count === 1 ? "record" : "records"}, ${update.after + 1} to ${update.n}.`);
  }

  tell(state, words) {
    this.answer = { state, words };
    clearTimeout(this.fading);
    if (state === "note" || state === "recorded") this.fading = setTimeout(() => this.tell("", ""), 15000);
    this.draw();
  }

  async send(name, fields = {}) {
    if (this.busy) return;
    this.busy = true;
    this.sheet.close();
    this.tell("sending", "Sent. Not on record yet …");
    const answer = await act(name, fields);
    this.busy = false;
    if (answer.state === "signed-out") {
      this.station = "";
      this.show(sheets.pinSheet);
    }
    this.tell(answer.state, answer.words);
  }

  async enter(pin, complain) {
    try {
      const { status, content } = await signIn(pin);
      if (status !== 200) {
        complain(content.wait_s ? `${content.error} ${content.wait_s} s.` : content.error);
        return;
      }
      this.station = content.station;
      this.sheet.close();
      this.tell("note", `Signed in as ${this.station}.`);
    } catch {
      complain("No answer. Is the connection lost?");
    }
  }

  async leave() {
    this.sheet.close();
    try {
      await signOut();
    } finally {
      this.station = "";
      this.tell("note", "Signed out. The board is read-only.");
    }
  }

  show(make) {
    const made = make(this, this.view);
    if (!made) return;
    this.open = { make, ...made, made: made.key?.(this.view) ?? "", key: made.key ?? (() => ""), follows: Boolean(made.key) };
    const head = el("div", { class: "sheet-head" }, el("h2", { id: "sheet-title" }, made.title), button("Close", () => this.sheet.close(), "quiet"));
    this.sheet.replaceChildren(head, ...made.content);
    if (!this.sheet.open) this.sheet.showModal();
  }

  // What was being written stays while the same form is made anew.
  showAgain() {
    const { title } = this.open;
    const written = this.sheet.querySelector("textarea")?.value;
    this.show(this.open.make);
    const field = this.sheet.querySelector("textarea");
    if (written && field && this.open.title === title) field.value = written;
  }

  draw() {
    const bar = byId("bar");
    const parts = [this.status(), ...this.buttons()];
    const key = JSON.stringify([this.station, this.busy, this.answer, this.barKey()]);
    if (key === this.shown) return;
    this.shown = key;
    const focused = bar.contains(document.activeElement) ? document.activeElement.dataset.does : null;
    bar.replaceChildren(...parts);
    if (focused) bar.querySelector(`[data-does="${focused}"]`)?.focus();
  }

  barKey() {
    const board = this.view?.board;
    return board && [board.step.id, board.step.readback, board.step.choices, board.entries, board.step.done, this.view.held, this.view.closed, document.body.dataset.link];
  }

  status() {
    const words = this.answer?.words ? [mark(MARKS[this.answer.state]), el("span", {}, this.answer.words)] : [];
    return el("p", { id: "answer", class: `answer ${this.answer?.state ?? ""}`, role: "status" }, words);
  }

  buttons() {
    const board = this.view?.board;
    if (!board || this.view.closed) return [];
    if (!this.station) return [this.key("Officer: enter the PIN to act", () => this.show(sheets.pinSheet), "wide", "pin")];
    if (board.step.readback) return this.readback(board.step.readback);
    const { entries, grain } = board;
    const narrow = window.matchMedia("(max-width: 860px)").matches;
    const hold = this.view.held
      ? this.key("Resume work …", () => this.show(sheets.resumeSheet), "hold", "hold")
      : this.key("Hold all work", () => this.send("hold"), "hold", "hold");
    return [
      this.key(entries.may_confirm ? "Confirm step …" : "For the crew …", () => this.show(sheets.stepSheet), "main", "step"),
      ...(narrow ? [this.key("Enter …", () => this.show(sheets.enterSheet), "", "enter")] : this.entering(grain)),
      hold,
      this.key("Emergency …", () => this.show(sheets.emergencySheet), "urgent", "emergency"),
    ];
  }

  entering(grain) {
    return [
      this.key("Air reading …", () => this.show(sheets.airSheet), "", "air"),
      this.key(grain.counting ? "Count, level …" : "Level …", () => this.show(sheets.grainSheet), "", "grain"),
      this.key("People …", () => this.show(sheets.crewSheet), "", "crew"),
      this.key("More …", () => this.show(sheets.moreSheet), "", "more"),
    ];
  }

  readback(asked) {
    return [
      el("p", { class: "asked" }, asked.may_affirm ? "Read back: " : "The crew inside affirms: ", el("b", {}, `“${asked.text}”`)),
      ...(asked.may_affirm ? [this.key("Affirmative", () => this.send("affirm", { asked_ms: asked.asked_ms }), "main", "affirm")] : []),
      this.key("Negative", () => this.send("negate", { asked_ms: asked.asked_ms }), "", "negate"),
      this.key("Hold all work", () => this.send("hold"), "hold", "hold"),
      this.key("Emergency …", () => this.show(sheets.emergencySheet), "urgent", "emergency"),
    ];
  }

  key(words, does, kind, name) {
    const made = button(words, does, kind);
    made.dataset.does = name;
    made.disabled = this.busy;
    return made;
  }
}

export function button(words, does, kind = "") {
  return el("button", { type: "button", class: kind, onclick: does }, words);
}
