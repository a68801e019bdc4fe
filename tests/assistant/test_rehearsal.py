"""Scoring a rehearsal against its script."""

from pathlib import Path

import pytest

from assistant.errors import UsageError
from assistant.rehearsal import Score, ScriptLine, read_script
from protocol.events import Said, StepConfirmed, Urgency

LINES = (
    ScriptLine("panel one standing", 10.0, 11.2, "one", 0),
    ScriptLine("panel one standing", 30.0, 31.2, "one", 1),
)
STEP = (StepConfirmed(0, "probe", "crew", "panel one standing"),)


def test_a_line_is_understood_once() -> None:
    """The same words heard twice for one line count once; the second advance was never said."""
    score = Score(LINES)
    score.take("panel one standing", 11.5, STEP)
    score.take("panel one standing", 12.0, STEP)
    assert 1 == score.missed_count
    assert 1 == score.false_advances


@pytest.mark.parametrize("at_s", [5.0, 20.0, 60.0])
def test_words_at_the_wrong_moment_were_not_said(at_s: float) -> None:
    """An advance long before or after its line is a false one."""
    score = Score(LINES)
    score.take("panel one standing", at_s, STEP)
    assert 1 == score.false_advances
    assert 2 == score.missed_count


def test_said_again_is_not_missed() -> None:
    """A phrase that was understood when it was said again is understood; one that never was is missed once."""
    again = (ScriptLine("time check", 1.0, 2.0, "one", 7), ScriptLine("time check", 6.0, 7.0, "one", 7))
    score = Score(again)
    assert 1 == score.missed_count
    score.take("time check", 7.2, ())
    assert 0 == score.missed_count


def test_a_false_question_is_no_false_advance() -> None:
    """Words nobody said that only cause an answer advance nothing."""
    score = Score(LINES)
    score.take("time check", 20.0, (Said(0, "both", Urgency.ANSWER, "One minute.", "time"),))
    assert 0 == score.false_advances


def test_without_a_script_nothing_is_judged() -> None:
    """No script: no counts, rather than zeros."""
    score = Score(None)
    score.take("panel one standing", 1.0, STEP)
    assert score.false_advances is None
    assert score.missed_count is None


@pytest.mark.parametrize("content", ["", "[]", "{}", '{"lines": [{"text": "x"}]}', '{"lines": [{"text": 1, "start_s": "a"}]}'])
def test_a_wrong_script_is_refused(tmp_path: Path, content: str) -> None:
    """Anything that is no script is named in one sentence."""
    path = tmp_path / "x.json"
    path.write_text(content)
    with pytest.raises(UsageError, match="is not a rehearsal script"):
        read_script(path)


def test_a_missing_script_is_named(tmp_path: Path) -> None:
    """A script that is not there is named."""
    with pytest.raises(UsageError, match="cannot be read"):
        read_script(tmp_path / "none.json")
