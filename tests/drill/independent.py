"""A second opinion on a drill: the score worked out from what was said and when, without the program's own rules.

Only the raw TOML of scenario and procedure and the times of the recording are read. Air rules: OSHA 29 CFR
1910.146(d)(5)(iii) for the order, a four-gas meter and phosphine unless not fumigated; intervals are the house defaults
(roll call 15 min, person check 3 min) unless the scenario's site says otherwise.
"""

import re
import tomllib
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
FIGURES = {"zero": 0, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8, "niner": 9}
GASES = ("oxygen", "flammable gas", "carbon monoxide", "hydrogen sulfide", "phosphine")
WORST = {"oxygen": 19.5}
"""Percent; less is bad. No other bad value is said in these recordings."""
DEFAULT_MIN = {"roll_call_min": 15.0, "person_check_min": 3.0}
AIR_PLACES = {"air_good_at_hatch": "hatch", "air_good_at_person": "person"}
SCRIPTED = re.compile(r"(drum|grain)\.")


@dataclass
class Facts:
    """What the second opinion finds; times in seconds."""

    steps: int = 0
    canisters: int = 0
    asked: int = 0
    affirmed: int = 0
    negated: int = 0
    taken_back: int = 0
    said_again: int = 0
    refused: list[str] = field(default_factory=list)
    order_faults: list[str] = field(default_factory=list)
    stages: Counter[str] = field(default_factory=Counter)
    ages: list[tuple[str, float]] = field(default_factory=list)
    roll_calls: list[float | None] = field(default_factory=list)
    person_checks: list[float | None] = field(default_factory=list)
    injects: dict[str, float | None] = field(default_factory=dict)
    emergencies: list[str] = field(default_factory=list)
    levels: int = 0
    end_s: float = 0.0


class Clock:
    """A call that is due again and again."""

    def __init__(self, every_s: float, calls: list[float | None]) -> None:
        self.every_s, self.calls = every_s, calls
        self.due_s: float | None = None
        self.open = False

    def start(self, at_s: float) -> None:
        """Counts from now."""
        self.due_s = at_s + self.every_s

    def stop(self) -> None:
        """Not due any more; what is open stays unanswered."""
        self.due_s, self.open = None, False

    def pass_to(self, at_s: float) -> None:
        """Ask whenever it is due."""
        while self.due_s is not None and self.due_s <= at_s:
            self.calls.append(None)
            self.asked_s, self.open = self.due_s, True
            self.due_s += self.every_s

    def answer(self, at_s: float) -> None:
        """Somebody answers."""
        if self.open:
            self.calls[-1] = at_s - self.asked_s
            self.open = False


class Opinion:
    """Walks through a drill line by line."""

    def __init__(self, scenario: Mapping[str, Any]) -> None:
        self.scenario = scenario
        self.rows, self.after, self.interruptions, self.stages = _procedure()
        self.facts = Facts()
        house = {**DEFAULT_MIN, **scenario.get("site", {}).get("house", {})}
        self.roll = Clock(60 * house["roll_call_min"], self.facts.roll_calls)
        self.check = Clock(60 * house["person_check_min"], self.facts.person_checks)
        self.step = "people"
        self.back: list[str] = []
        self.since_s = 0.0
        self.pending: tuple[str, Any] | None = None
        self.readings: dict[tuple[str, str], float] = {}
        self.fumigated = "unknown"
        self.inside: set[str] = set()
        self.panels: set[str] = set()
        self.due: dict[str, tuple[float, tuple[str, ...]]] = {}
        self.happened: list[tuple[str, float]] = []

    def hear(self, text: str, at_s: float) -> None:
        """One line."""
        self.roll.pass_to(at_s)
        self.check.pass_to(at_s)
        gas = next((gas for gas in GASES if text.startswith(gas)), None)
        if gas:
            self._reading(gas, text, at_s)
        elif text in self.interruptions:
            self._interrupt(self.interruptions[text], at_s)
        elif text in {"affirmative", "negative"}:
            self._affirm(text, at_s)
        elif not self._confirm(text, at_s):
            self._other(text, at_s)

    def begin(self) -> None:
        """What was prepared does not count."""
        self.facts.__init__()  # type: ignore[misc]
        self.roll.calls, self.check.calls = self.facts.roll_calls, self.facts.person_checks
        self.since_s, self.happened, self.due = 0.0, [], {}
        for row in self.scenario.get("inject", ()):
            if "at_s" in row or row.get("enters") == self.step:
                self._inject(row, row.get("at_s", 0.0))

    def result(self, end_s: float) -> Facts:
        """Everything, once the last line is heard."""
        facts = self.facts
        facts.end_s = end_s
        for name, (at_s, expects) in self.due.items():
            later = [when for what, when in self.happened if when >= at_s and what in expects]
            facts.injects[name] = later[0] - at_s if later and expects else None
        return facts

    def _happens(self, what: str, at_s: float) -> None:
        names = (what, what.split(maxsplit=1)[0])
        self.happened.extend((name, at_s) for name in dict.fromkeys(names))
        for row in self.scenario.get("inject", ()):
            if row["id"] not in self.due and row.get("on") in names:
                self._inject(row, at_s)

    def _inject(self, row: Mapping[str, Any], at_s: float) -> None:
        self.due[row["id"]] = (at_s + row.get("delay_s", 0.0), tuple(row.get("expects", ())))

    def _enter(self, step: str, at_s: float) -> None:
        self.facts.stages[self.rows[self.step]["stage"]] += at_s - self.since_s
        self.step, self.since_s = step, at_s
        for row in self.scenario.get("inject", ()):
            if row.get("enters") == step and row["id"] not in self.due:
                self._inject(row, at_s)

    def _reading(self, gas: str, text: str, at_s: float) -> None:
        said = text.removeprefix(gas).split(" at the ")
        place = said[1] if len(said) > 1 else self.rows[self.step].get("place") or ("person" if self.inside else "hatch")
        value = float("".join("." if word == "decimal" else str(FIGURES[word]) for word in said[0].split()))
        if gas in WORST and value < WORST[gas]:
            self._record(gas, place, at_s)
            self._interrupt("bad_air", at_s)
            self.readings = {}
            return
        self.facts.asked += 1
        self.pending = ("air", (gas, place))

    def _record(self, gas: str, place: str, at_s: float) -> None:
        before = GASES[: min(2, GASES.index(gas))]
        if "flammable_is_low" not in self.rows[self.step].get("needs", ()):
            missing = [other for other in before if (other, place) not in self.ever]
            self.facts.order_faults += [f"{gas} before {missing[0]} at the {place}"] if missing else []
        self.readings[gas, place] = at_s
        self.ever.add((gas, place))
        self._happens(f"reading {gas.replace(' ', '_')}", at_s)

    @property
    def ever(self) -> set[tuple[str, str]]:
        """Gases that were read at all."""
        return self.__dict__.setdefault("_ever", set())

    def _affirm(self, text: str, at_s: float) -> None:
        assert self.pending is not None, f"nothing to affirm at {at_s}"
        (kind, what), self.pending = self.pending, None
        if text == "negative":
            self.facts.negated += 1
            return
        self.facts.affirmed += 1
        if kind == "air":
            self._record(*what, at_s)
        else:
            self._leave(what, at_s)

    def _confirm(self, text: str, at_s: float) -> bool:
        row = self.rows[self.step]
        answer = next((one for one in row.get("answers", ()) if text in one["say"]), None)
        number = re.fullmatch(row["say"][0].replace("{n}", r"(\w+)"), text) if row.get("repeat") else None
        if answer is None and number is None and text not in row.get("say", ()):
            return False
        if self._air_is_missing(row):
            self.facts.refused.append(self.step)
        elif number:
            self._panel(number[1], at_s)
        elif row.get("critical"):
            self.facts.asked += 1
            self.pending = ("step", answer)
        else:
            self._leave(answer, at_s)
        return True

    def _panel(self, which: str, at_s: float) -> None:
        self.facts.steps += 1
        self._age(at_s)
        self.panels.add(which)
        self._happens(f"step {self.step}", at_s)
        if len(self.panels) == 4:
            self.panels = set()
            self._leave(None, at_s, aged=True)

    def _leave(self, answer: Mapping[str, Any] | None, at_s: float, *, aged: bool = False) -> None:
        row, step = self.rows[self.step], self.step
        self.facts.steps += 1
        if not aged:
            self._age(at_s)
        if row.get("fact") == "fumigated" and answer:
            self.fumigated = answer["value"]
        if step == "person_told":
            self.check.start(at_s)
        if step == "medics_have":
            self.check.stop()
        dest = (answer or {}).get("to") or row.get("next") or self.after[step]
        if dest == "@return":
            dest = self.back.pop()
        elif self.back and self.stages[self.rows[dest]["stage"]].get("emergency") is None:
            self.back = []
        self._enter(dest, at_s)
        self._happens(f"step {step}", at_s)

    def _interrupt(self, kind: str, at_s: float) -> None:
        first = next(row for row in self.scenario_interruptions if row["id"] == kind)["to"]
        self.back.append(self.step)
        self.facts.emergencies.append(kind)
        self.pending = None
        self._enter(first, at_s)
        self._happens(f"emergency {kind}", at_s)

    @property
    def scenario_interruptions(self) -> list[dict[str, Any]]:
        """The emergencies of the procedure."""
        return _raw("emergencies")["interruption"]

    def _other(self, text: str, at_s: float) -> None:
        moved = re.fullmatch(r"rescuer (\w+) (going in|is out)", text)
        if moved:
            self._move(moved[1], moved[2] == "going in", at_s)
        elif text == "canister is full":
            self.facts.canisters += 1
            self._happens(f"canister {self.facts.canisters}", at_s)
        elif text == "correction":
            self.facts.canisters -= 1
            self.facts.taken_back += 1
        elif text.startswith("grain at "):
            self.facts.levels += 1
        elif text == "person is answering":
            self.check.answer(at_s)
            self.check.start(at_s)
            self._happens("person", at_s)
        elif text == "all accounted for":
            self.roll.answer(at_s)
            self.roll.start(at_s)
        elif text == "say again":
            self.facts.said_again += 1

    def _move(self, who: str, going_in: bool, at_s: float) -> None:
        if going_in and not self.inside:
            self.roll.start(at_s)
        (self.inside.add if going_in else self.inside.discard)(who)
        if not self.inside:
            self.roll.stop()
        self._happens(f"rescuer_{'in' if going_in else 'out'} {FIGURES[who]}", at_s)

    def _required(self) -> tuple[str, ...]:
        return GASES[:4] if self.fumigated == "no" else GASES

    def _air_is_missing(self, row: Mapping[str, Any]) -> bool:
        places = [AIR_PLACES[need] for need in row.get("needs", ()) if need in AIR_PLACES]
        return any((gas, place) not in self.readings for place in places for gas in self._required())

    def _age(self, at_s: float) -> None:
        row = self.rows[self.step]
        places: list[str | None] = [AIR_PLACES[need] for need in row.get("needs", ()) if need in AIR_PLACES]
        if self.stages[row["stage"]].get("inside_bin") and not row.get("leaving"):
            places.append(None)
        newest = [
            max(when for (one, where), when in self.readings.items() if one == gas and place in {None, where})
            for place in places
            for gas in self._required()
        ]
        if newest:
            self.facts.ages.append((self.step, at_s - min(newest)))


def opinion(scenario: str, lines: list[dict[str, Any]]) -> Facts:
    """The facts of a recording, from its lines.

    Args:
        scenario: its name.
        lines: text, phrase number and end in seconds; of several tries the last was taken.
    """
    raw = tomllib.loads((ROOT / "assistant" / "scenarios" / f"{scenario}.toml").read_text(encoding="utf-8"))
    walk = Opinion(raw)
    for text in raw["scenario"].get("prepared", ()):
        walk.hear(text, 0.0)
    walk.begin()
    last = {line["phrase"]: line for line in lines}
    for line in last.values():
        walk.hear(line["text"], line["end_s"])
    return walk.result(max(line["end_s"] for line in lines))


def _raw(name: str) -> dict[str, Any]:
    return tomllib.loads((ROOT / "protocol" / "procedures" / f"{name}.toml").read_text(encoding="utf-8"))


def _procedure() -> tuple[dict[str, Any], dict[str, str], dict[str, str], dict[str, Any]]:
    """Steps by id, the step after each, emergencies by their words, stages by id."""
    rows: dict[str, Any] = {}
    after: dict[str, str] = {}
    stages: dict[str, Any] = {}
    for name in ("partial_entrapment", "covered", "emergencies"):
        raw = _raw(name)
        steps = raw["step"]
        rows.update({step["id"]: step for step in steps})
        after.update({step["id"]: steps[place + 1]["id"] for place, step in enumerate(steps[:-1])})
        stages.update({stage["id"]: stage for stage in raw["stage"]})
    words = {phrase: row["id"] for row in _raw("emergencies")["interruption"] for phrase in row["say"]}
    return rows, after, words, stages
