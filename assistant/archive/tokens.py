"""Made-up tokens in place of names: the same name gets the same token, and nobody can tell the name from it.

A token is a keyed digest (HMAC-SHA-256, RFC 2104) under a secret that the archive keeps for itself and never exports.
"""

import hashlib
import hmac
from collections.abc import Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any, get_args

from protocol import headset
from protocol.air import Gas, Verdict
from protocol.estimates.body import Mark
from protocol.events import Event
from protocol.procedure import Procedure
from protocol.timers import TIMERS

LETTERS = 10
"""Of a token: a trillion of them, so that a hundred thousand names do not collide by chance."""


@dataclass(frozen=True, slots=True)
class Tokens:
    """Maker of tokens."""

    salt: str

    def of(self, sort: str, name: str) -> str:
        """The token of a name; nothing for nothing. Spelling apart from capitals and spaces counts."""
        plain = " ".join(name.casefold().split())
        if not plain:
            return ""
        digest = hmac.new(self.salt.encode(), f"{sort}\0{plain}".encode(), hashlib.sha256)
        return f"{sort}-{digest.hexdigest()[:LETTERS]}"


@dataclass(frozen=True, slots=True)
class Known:
    """Words that are the program's own, and so name nobody."""

    steps: AbstractSet[str]
    stages: AbstractSet[str]
    emergencies: AbstractSet[str]
    facts: AbstractSet[str]
    answers: AbstractSet[str]
    scenarios: AbstractSet[str]

    @classmethod
    def of(cls, procedure: Procedure) -> "Known":
        """The words of the shipped procedure and scenarios."""
        facts = {step.fact for step in procedure.steps if step.fact} | {
            name for step in procedure.steps for name, _value in step.sets
        }
        answers = {answer.value for step in procedure.steps for answer in step.answers} | {
            value for step in procedure.steps for _name, value in step.sets
        }
        return cls(
            steps={step.id for step in procedure.steps},
            stages={stage.id for stage in procedure.stages},
            emergencies={row.id for row in procedure.interruptions},
            facts=facts,
            answers=answers,
            scenarios=shipped_scenarios(),
        )


@cache
def shipped_scenarios() -> frozenset[str]:
    """Names of the scenarios that come with the program."""
    folder = files("assistant") / "scenarios"
    if not folder.is_dir():
        return frozenset()
    return frozenset(entry.name.removesuffix(".toml") for entry in folder.iterdir() if entry.name.endswith(".toml"))


KINDS = frozenset(kind.__name__ for kind in get_args(Event))
LINED = frozenset({"RescuerEntered", "LineRecorded"})
"""Events that tell of a lifeline."""
PLAIN_DIGITS = 3
"""A lifeline's tag of so many digits at most names nobody."""
NUMBERS = ("total", "number", "of", "corner", "panel", "slot", "inside", "down_m", "higher_m", "due_ms", "next_due_ms",
           "since_ms", "moment_ms", "within_s", "skipped", "withdrawn", "opens", "battery")  # fmt: skip
"""Fields that hold numbers and switches only."""
SETS: Mapping[str, AbstractSet[str]] = MappingProxyType({
    "gas": frozenset(gas.value for gas in Gas),
    "verdict": frozenset(verdict.value for verdict in (*Verdict, *headset.Verdict)),
    "mark": frozenset(mark.value for mark in Mark),
    "timer": frozenset(row.id for row in TIMERS),
    "place": frozenset({"hatch", "person"}),
    "to": frozenset({"inside", "outside", "both"}),
    "urgency": frozenset({"alarm", "prompt", "answer", "info"}),
    "entry": frozenset({"air", "canister", "level", "corner", "rescuer_out"}),
    "what": frozenset({"step", "air"}),
    "why": frozenset({"negative", "lapsed", "overtaken"}),
    "role": frozenset({"inside", "outside", "both"}),
    "link": frozenset({"up", "lost", "left"}),
})  # fmt: skip
"""Fields whose values are kept when they are of these; anything else in them is dropped."""


def bare(kind: str, body: Mapping[str, Any], known: Known, tokens: Tokens) -> dict[str, Any]:
    """What is left of an event once every name, place and free text is gone: only what is known to name nobody."""
    if kind not in KINDS:
        return {}
    kept: dict[str, Any] = {
        name: body[name] for name in NUMBERS if isinstance(body.get(name), int | float | bool)
    }
    kept.update({name: body[name] for name, values in SETS.items() if body.get(name) in values})
    if isinstance(body.get("value"), str) and "gas" in kept:
        kept["value"] = _number(body["value"])
    for name, words in (("step", known.steps), ("to", known.steps), ("from_step", known.steps)):
        if body.get(name) in words:
            kept[name] = body[name]
    if kind.startswith("Emergency") and body.get("kind") in known.emergencies:
        kept["kind"] = body["kind"]
    if kind == "FactLearned" and body.get("fact") in known.facts:
        kept["fact"] = body["fact"]
        if body.get("value") in known.answers:
            kept["value"] = body["value"]
    kept.update(_line(body, tokens) if kind in LINED else {})
    for name in ("by", "station"):
        if isinstance(body.get(name), str):
            kept[name] = tokens.of("station", body[name])
    return {name: value for name, value in kept.items() if value is not None}


def _line(body: Mapping[str, Any], tokens: Tokens) -> dict[str, Any]:
    """A lifeline's number as it is, any other tag and every tender as a token."""
    line, tenders = body.get("line"), body.get("tenders")
    kept: dict[str, Any] = {}
    if isinstance(line, str) and line:
        kept["line"] = line if line.isdecimal() and len(line) <= PLAIN_DIGITS else tokens.of("line", line)
    if isinstance(tenders, list) and tenders:
        kept["tenders"] = [tokens.of("tender", name) for name in tenders if isinstance(name, str)]
    return kept


def _number(text: str) -> str | None:
    return text if text.replace(".", "", 1).isdigit() else None
