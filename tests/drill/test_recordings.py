"""Each shipped scenario by voice, through the real recogniser: unseen voices, noise 10 dB under them.

Its score is held against a second opinion, worked out from the script by other code (`independent`).
"""

import json
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from assistant.cli import main
from assistant.drill.scenarios import shipped
from tests.drill.independent import SCRIPTED, Facts, opinion

RECORDINGS = Path(__file__).parents[2] / "audio_fixtures" / "scenarios"
TAKEN_S = 1.5
"""A phrase is taken so long before or after the script says that it ended, at most; two phrases make a difference."""
MOST_BYTES = 6_000_000


def manifest(name: str) -> dict[str, Any]:
    """What is said when."""
    found: dict[str, Any] = json.loads((RECORDINGS / f"{name}.json").read_text(encoding="utf-8"))
    return found


@cache
def facts(name: str) -> Facts:
    """The second opinion."""
    return opinion(name, manifest(name)["lines"])


def led(name: str, journal: Path, capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    """The drill's own score, from one run of the command as a user gives it."""
    status = main(["drill", name, "--audio", "--fast", "--json", "--journal", str(journal)])
    said = capsys.readouterr()
    assert said.out, said.err
    assert 0 == main(["replay", "--verify", str(journal)])
    return {**json.loads(said.out.splitlines()[-1]), "status": status}


def close(expected_s: float | None, found_ms: int | None) -> bool:
    """Whether two times are the same, as far as the moment of taking a phrase goes."""
    if expected_s is None or found_ms is None:
        return expected_s is None and found_ms is None
    return abs(expected_s - found_ms / 1000) <= TAKEN_S


def same_end(score: dict[str, Any]) -> None:
    """Every phrase is understood, nothing advances that nobody said, and the drill reaches its end."""
    assert (0, True, 0, 0) == (score["status"], score["closed"], score["missed"], score["false_advances"])


def same_counts(name: str, score: dict[str, Any]) -> None:
    """Steps, canisters, read-backs, what was asked again or taken back."""
    expected, backs = facts(name), score["read_backs"]
    assert expected.steps == score["steps_confirmed"]
    assert expected.canisters == score["canisters"]
    assert (expected.asked, expected.affirmed, expected.negated) == (backs["asked"], backs["affirmed"], backs["negated"])
    assert (0, 0) == (backs["lapsed"], backs["overtaken"])
    assert expected.said_again == len(score["said_again_ms"])
    assert expected.taken_back + expected.negated == len(score["misheard"])
    assert [] == score["overrides"]


def same_faults(name: str, score: dict[str, Any]) -> None:
    """What was refused, what was out of order, and which emergencies there were."""
    expected = facts(name)
    assert expected.refused == [row["step"] for row in score["refused"]]
    assert expected.order_faults == [row["what"] for row in score["order_faults"]]
    assert expected.emergencies == [row["kind"] for row in score["emergencies"]]


def same_times(name: str, score: dict[str, Any]) -> None:
    """Time in each stage, and all together."""
    expected = {stage: spent_s for stage, spent_s in facts(name).stages.items() if spent_s > TAKEN_S}
    found = {row["stage"]: row["spent_ms"] for row in score["stages"] if row["spent_ms"] > TAKEN_S * 1000}
    assert set(expected) == set(found)
    wrong = {stage: (spent_s, found[stage]) for stage, spent_s in expected.items() if not close(spent_s, found[stage])}
    assert {} == wrong
    assert close(facts(name).end_s, score["ended_ms"])


def same_air(name: str, score: dict[str, Any]) -> None:
    """At each step that needs air: the same step, and the age of the oldest reading that it leans on."""
    expected = facts(name).ages
    found = [(row["step"], row["oldest_ms"]) for row in score["air_ages"]]
    assert [step for step, _age_s in expected] == [step for step, _age_ms in found]
    pairs = zip(expected, found, strict=True)
    assert [] == [(step, age_s, age_ms) for (step, age_s), (_step, age_ms) in pairs if not close(age_s, age_ms)]


def same_calls(name: str, score: dict[str, Any]) -> None:
    """Roll calls and person checks: how many, which were missed, how soon the others were answered."""
    for expected, rows in (
        (facts(name).roll_calls, score["roll_calls"]), (facts(name).person_checks, score["person_checks"])
    ):  # fmt: skip
        found = [None if row["answered_ms"] is None else row["answered_ms"] - row["asked_ms"] for row in rows]
        assert len(expected) == len(found)
        assert all(close(one_s, one_ms) for one_s, one_ms in zip(expected, found, strict=True)), (expected, found)


def same_injects(name: str, score: dict[str, Any]) -> None:
    """Each inject of the scenario, and how soon it was answered; drums and marks as often as they were called."""
    own = {row["inject"]: row for row in score["injects"] if not SCRIPTED.match(row["inject"])}
    expected = facts(name).injects
    assert set(expected) == set(own)
    for inject, took_s in expected.items():
        row = own[inject]
        took_ms = None if row["answered_ms"] is None else row["answered_ms"] - row["given_ms"]
        assert close(took_s, took_ms), (inject, took_s, took_ms)
    grain = [row for row in score["injects"] if SCRIPTED.match(row["inject"])]
    assert facts(name).levels == sum(row["inject"].startswith("grain.") for row in grain)
    assert facts(name).canisters == sum(
        row["inject"].startswith("drum.") and row["answered_ms"] is not None for row in grain
    )


@pytest.mark.parametrize("name", shipped())
def test_a_scenario_by_voice_scores_what_its_script_says(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Understood to the last phrase, led to its end, and every fact of its score is that of the second opinion."""
    score = led(name, tmp_path / "drill.jsonl", capsys)
    same_end(score)
    for same in (same_counts, same_faults, same_times, same_air, same_calls, same_injects):
        same(name, score)


# ------------------------------------------------------------------------------------------------------ the recordings


def test_they_are_small() -> None:
    """All recordings of scenarios together."""
    assert sum(path.stat().st_size for path in RECORDINGS.glob("*.flac")) < MOST_BYTES


@pytest.mark.parametrize("name", shipped())
def test_the_script_is_what_was_made(name: str) -> None:
    """No line overlaps another; at least two voices; the noise and its level are told."""
    found = manifest(name)
    lines = found["lines"]
    assert name == found["scenario"]
    assert all(before["end_s"] < after["start_s"] for before, after in pairwise(lines))
    assert len({line["by"] for line in lines}) >= 2
    assert ("fan", 10.0) == (found["noise"]["kind"], found["noise"]["below_voice_db"])


def test_the_covered_drill_is_worked_from_end_to_end() -> None:
    """By voice: openings in the wall, uncovered, flow stopped, then the visible procedure to stand-down."""
    said = {line["phrase"]: line["text"] for line in manifest("covered_then_visible")["lines"]}.values()
    way = ["covered by the grain", "opposite holes are open", "person uncovered flow stopped", "buried up to the ribs",
           "entry approved by command", "panel four standing", "patient free of the grain", "panel two recovered",
           "stand down the operation"]  # fmt: skip
    assert way == [text for text in said if text in way]
