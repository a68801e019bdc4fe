"""The recordings that come with the project: each clip is understood as its name, other speech as nothing."""

import json
import subprocess
import sys
from functools import cache
from itertools import pairwise
from pathlib import Path

import pytest

from assistant.hearing.hear import hear_file
from assistant.hearing.listener import ListenPhrase
from assistant.hearing.recogniser import SpeechModel
from assistant.library import load_book
from protocol.phrases import every_phrase

FIXTURES = Path(__file__).parents[1] / "audio_fixtures"
PHRASE_CLIPS = sorted((FIXTURES / "phrases").glob("*.flac"))
OTHER_CLIPS = sorted((FIXTURES / "oov").glob("*.flac"))
MOST_MISSED = 0.02


@cache
def model() -> SpeechModel:
    """The shipped model, loaded once."""
    return SpeechModel()


def heard_in(path: Path) -> list[str]:
    """What is accepted with every phrase of the procedure in force at once."""
    phrases = [ListenPhrase(text) for text in every_phrase(load_book())]
    return [heard.text for heard in hear_file(path, model(), phrases).accepted]


def test_the_clips_are_there() -> None:
    """Both kinds of clips exist, so that the tests below are about something."""
    assert len(PHRASE_CLIPS) >= 20
    assert len(OTHER_CLIPS) >= 8


@pytest.mark.parametrize("path", PHRASE_CLIPS, ids=lambda path: path.stem)
def test_a_phrase_is_understood(path: Path) -> None:
    """A phrase in an unseen voice and machine noise is understood, once."""
    assert [path.stem.replace("_", " ")] == heard_in(path)


@pytest.mark.parametrize("path", OTHER_CLIPS, ids=lambda path: path.stem)
def test_other_speech_is_no_phrase(path: Path) -> None:
    """Speech that is none of the phrases gives nothing."""
    assert [] == heard_in(path)


def test_every_word_of_every_phrase_is_known() -> None:
    """The shipped model knows each word of the shipped procedure."""
    model().require(every_phrase(load_book()))


def test_the_shipped_drill_is_led_to_the_end(tmp_path: Path) -> None:
    """Through the real recogniser: completed, no step advanced that nobody said, at most 2 % of the phrases missed."""
    command = [sys.executable, "-m", "assistant", "rehearse", "--fast", "--json", "--journal", str(tmp_path / "r.jsonl")]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    outcome = json.loads(done.stdout.splitlines()[-1])
    lines = json.loads((FIXTURES / "drill.json").read_text(encoding="utf-8"))["lines"]
    assert outcome["completed"], done.stderr
    assert 0 == outcome["false_advances"]
    assert outcome["missed"] <= MOST_MISSED * len(lines)
    assert outcome["steps_confirmed"] >= outcome["steps_total"] - 5


def test_the_manifest_says_what_the_script_says() -> None:
    """The drill's manifest holds the script's lines in order, none overlapping another."""
    lines = json.loads((FIXTURES / "drill.json").read_text(encoding="utf-8"))["lines"]
    assert all(before["end_s"] < after["start_s"] for before, after in pairwise(lines))
    assert len({line["by"] for line in lines}) >= 3
