"""The listener on the shipped prompts and made-up units: whole phrases, strays, rivals, thresholds of a model."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from assistant.errors import ModelError
from assistant.hearing.belief import FILE, Evidence, Least, Policy, read_policy, write_policy
from assistant.hearing.blocks import RATE, Block
from assistant.hearing.grammar import Grammar, ListenPhrase
from assistant.hearing.listener import Heard, Listener
from assistant.hearing.recogniser import SpeechModel
from assistant.hearing.second_look import Look
from protocol.phrases import Strictness

CLIPS = Path(__file__).parents[2] / "audio_fixtures" / "phrases"
GRAMMAR = Grammar.of_texts(
    ["panel one standing", "panel two standing", "say again", "oxygen {number}", "phosphine {number}", "oxygen {number} at the hatch"]
)


def listen(listener: Listener, samples: np.ndarray) -> list[Heard]:
    """Feed a recording in blocks."""
    heard = []
    for start in range(0, len(samples), 960):
        heard += listener.feed(Block(samples[start : start + 960], start / RATE))
    return heard + listener.flush()


def clip(name: str) -> np.ndarray:
    """A shipped recording with a second of quiet after it."""
    samples, _rate = soundfile.read(CLIPS / f"{name}.flac", dtype="int16")
    return np.concatenate([np.zeros(RATE // 2, np.int16), samples, np.zeros(RATE, np.int16)])


@pytest.fixture(scope="module")
def model() -> SpeechModel:
    """The shipped model."""
    return SpeechModel()


def test_a_phrase_is_taken_early_and_once(model: SpeechModel) -> None:
    """When its last phone has sounded and quiet follows, before the recogniser's own end."""
    listener = Listener(model)
    listener.set_phrases([ListenPhrase("say again"), ListenPhrase("time check")])
    heard = listen(listener, clip("say_again"))
    assert ["say again"] == [one.text for one in heard]
    assert heard[0].early
    assert heard[0].end_s < heard[0].accepted_at_s < heard[0].end_s + 0.6


def test_a_phrase_that_is_not_in_force_is_not_taken(model: SpeechModel) -> None:
    """Whatever else is in force."""
    listener = Listener(model)
    listener.set_phrases([ListenPhrase("time check"), ListenPhrase("panel one standing")])
    assert [] == listen(listener, clip("say_again"))


def test_a_phrase_that_is_not_in_force_is_not_taken_for_one_that_is(model: SpeechModel) -> None:
    """Alone, "rib cage" is near enough to "hip bone"; a known phrase that fits better stands in the way."""
    texts = ("grain at rib cage", "time check")
    with_known, without = Listener(model, known=("grain at hip bone",)), Listener(model)
    for listener in (with_known, without):
        listener.set_phrases([ListenPhrase(text, Strictness.LOOSE) for text in texts])
    assert ["grain at rib cage"] == [one.text for one in listen(without, clip("grain_at_hip_bone"))]
    assert [] == listen(with_known, clip("grain_at_hip_bone"))


def test_noise_is_no_phrase(model: SpeechModel) -> None:
    """Two seconds of hiss, with every kind of strictness."""
    listener = Listener(model)
    listener.set_phrases([ListenPhrase("say again", Strictness.LOOSE), ListenPhrase("oxygen {number}")])
    assert [] == listen(listener, np.random.default_rng(1).normal(0, 800, 2 * RATE).astype(np.int16))


@pytest.mark.parametrize(
    ("units", "strays", "text"),
    [
        (("[unk]", "say again", "[unk]"), False, "say again"),
        (("one", "say again"), True, "say again"),
        (("one", "say again"), False, None),
        (("oxygen", "two", "zero"), False, "oxygen two zero"),
        (("two", "oxygen", "two", "zero", "at the hatch"), True, "oxygen two zero at the hatch"),
        (("say again", "panel one standing"), True, None),
        (("[unk]",), True, None),
        ((), True, None),
    ],
)
def test_only_number_words_may_stray(units: tuple[str, ...], strays: bool, text: str | None) -> None:
    """Beside a phrase; another phrase makes it none."""
    found = GRAMMAR.find(units, strays=strays)
    assert text == (found.match.text if found else None)


@pytest.mark.parametrize(
    ("said", "rivals"),
    [
        ("panel one standing", {"panel two standing"}),
        ("say again", set()),
        ("oxygen fifteen", {"phosphine fifteen", "oxygen fifty"}),
    ],
)
def test_rivals_are_near(said: str, rivals: set[str]) -> None:
    """One word differs, or the number is another; the phrase itself is none."""
    match = GRAMMAR.match(said)
    assert match is not None
    found = set(GRAMMAR.rivals(match))
    assert rivals <= found
    assert said not in found
    assert bool(rivals) == bool(found)


@pytest.mark.parametrize(
    ("said", "kin"),
    [
        ("affirmative", ["affirm"]),
        ("affirm", ["affirmative"]),
        ("say again", []),
        ("oxygen two", ["oxygen two at the hatch"]),
        ("oxygen two at the hatch", ["oxygen two"]),
    ],
)
def test_kin_begin_the_same(said: str, kin: list[str]) -> None:
    """A phrase that ends sooner or goes on."""
    texts = ("affirm", "affirmative", "say again", "oxygen {number}", "oxygen {number} at the hatch")
    grammar = Grammar.of_texts(texts)
    match = grammar.match(said)
    assert match is not None
    assert kin == grammar.kin(match)


GOOD = Look(shortfall=0.3, worst_word=0.8, start_s=0.0, end_s=1.0, quiet_s=0.2, calm_s=0.2, more=0, phones=10)


@pytest.mark.parametrize(
    ("look", "lead", "believed"),
    [
        (GOOD, 9.0, True),
        (replace(GOOD, more=3), 9.0, False),
        (replace(GOOD, end_s=0.4), 9.0, False),
        (replace(GOOD, shortfall=9.0), 9.0, False),
        (replace(GOOD, worst_word=99.0), 9.0, False),
        (GOOD, -1.0, False),
    ],
    ids=["good", "more was said", "too fast", "does not fit", "one word does not", "a rival fits better"],
)
def test_each_doubt_is_enough(look: Look, lead: float, believed: bool) -> None:
    """To refuse an advance phrase."""
    assert believed == (Policy().doubt(ListenPhrase("say again"), Evidence.of_look(look, lead, 0.2)) is None)


def test_a_look_alone_is_not_enough() -> None:
    """Nothing is believed of which nobody asked whether another phrase fits as well."""
    assert Policy().doubt(ListenPhrase("say again"), Evidence(looked=True, look=GOOD)) is not None


@pytest.mark.parametrize(
    ("phones", "unclear", "believed"),
    [(10, 0.1, True), (5, 0.1, False), (5, 0.8, True)],
    ids=["long", "short", "short, in noise"],
)
def test_a_short_phrase_must_fit_better(phones: int, unclear: float, believed: bool) -> None:
    """It is easily found in talk; in noise every phrase fits worse and is allowed to."""
    look = replace(GOOD, shortfall=1.2, phones=phones)
    doubt = Policy().doubt(ListenPhrase("say again"), Evidence.of_look(look, 9.0, unclear))
    assert believed == (doubt is None)


@pytest.mark.parametrize(
    ("unclear", "lead", "believed"), [(0.7, 1.6, True), (0.9, 1.6, False), (0.9, 4.0, True)], ids=["clear", "unclear", "clear lead"]
)
def test_where_the_net_is_unclear_a_phrase_must_stand_out_more(unclear: float, lead: float, believed: bool) -> None:
    """Where no phone is clear, any phrase fits a little."""
    doubt = Policy().doubt(ListenPhrase("say again"), Evidence.of_look(GOOD, lead, unclear))
    assert believed == (doubt is None)


@pytest.mark.parametrize("text", ["panel two standing", "oxygen {number}"])
def test_a_phrase_with_a_number_must_stand_out_more(text: str) -> None:
    """Numbers are near to each other, and panels are counted by one word."""
    evidence = Evidence.of_look(GOOD, 2.5, 0.2)
    assert Policy().doubt(ListenPhrase("panel is standing"), evidence) is None
    assert Policy().doubt(ListenPhrase(text, Strictness.NORMAL), evidence) is not None


@pytest.mark.parametrize(
    ("look", "grows", "ended"),
    [
        (GOOD, False, True),
        (GOOD, True, False),
        (replace(GOOD, calm_s=0.6), True, True),
        (replace(GOOD, calm_s=0.6, shortfall=0.9), True, False),
    ],
    ids=["quiet", "may go on", "may go on, calm", "may go on, unclear"],
)
def test_what_may_go_on_is_waited_for(look: Look, grows: bool, ended: bool) -> None:
    """A number may be followed by its place: only long and certain quiet ends it early."""
    assert ended == Policy().ended(look, grows=grows)


def test_thresholds_belong_to_a_model(tmp_path: Path) -> None:
    """What was written is read; without a file the program's own hold; a broken file is named."""
    assert Policy() == read_policy(tmp_path)
    (tmp_path / FILE).parent.mkdir()
    policy = Policy(strict=Least(0.6, 0.3, 1.0, 2.0, 3.0))
    write_policy(policy, tmp_path)
    assert policy == read_policy(tmp_path)
    (tmp_path / FILE).write_text("{}")
    with pytest.raises(ModelError, match="cannot be understood"):
        read_policy(tmp_path)
