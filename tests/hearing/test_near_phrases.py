"""`check` on how near phrases sound: what is in force together, what is refused, what is warned of."""

import re
from pathlib import Path

import pytest

from assistant.cli import main
from assistant.hearing.confusions import read_confusions
from assistant.hearing.near_phrases import FAR, LIMIT, Risk, in_force, near_numbers, rivals_of
from assistant.hearing.recogniser import shipped_model
from assistant.hearing.sound_distance import SoundDistance
from assistant.hearing.whole_phrases import read_lexicon
from assistant.library import load_book, shipped_texts
from protocol.commands import Affirm
from protocol.house import House
from protocol.phrases import AFFIRM_PHRASES, MARK_WORDS, QUERY_PHRASES, every_phrase, step_phrases
from protocol.scene import Book

BOOK = load_book()
LEXICON = read_lexicon(shipped_model())
MEASURE = SoundDistance(read_confusions(shipped_model()).costs(), LEXICON)
RIVALS = rivals_of(BOOK, MEASURE)
ASKED = '{ say = ["leg position unclear"], value = "unknown" },'


def checked(tmp_path: Path, capsys: pytest.CaptureFixture[str], old: str, new: str) -> tuple[int, str, str]:
    """Exit status, output and complaint for the shipped procedure with one place changed."""
    path = tmp_path / "ours.toml"
    text = shipped_texts()["partial_entrapment"]
    assert text.count(old) == 1, old
    path.write_text(text.replace(old, new), encoding="utf-8")
    status = main(["check", str(path)])
    printed = capsys.readouterr()
    return status, printed.out, printed.err.strip()


def test_every_phrase_is_weighed_somewhere() -> None:
    """Nothing that can ever be said is left out: the union over all steps is every phrase of the procedure."""
    weighed = {text for step in BOOK.procedure.steps for text in in_force(BOOK, step.id)}
    assert set(every_phrase(BOOK)) <= weighed


@pytest.mark.parametrize("step", [step.id for step in BOOK.procedure.steps])
def test_what_can_be_in_force_at_a_step(step: str) -> None:
    """Its own phrases, every emergency, question and read-back, whoever listens."""
    found = in_force(BOOK, step)
    urgent = [text for row in BOOK.procedure.interruptions for text in row.say]
    own = step_phrases(BOOK.procedure.step(step), BOOK.house.panels)
    assert {*own, *urgent, *(text for text, _ in QUERY_PHRASES), *AFFIRM_PHRASES} <= found.keys()


def test_the_shipped_procedure_has_no_rivals_that_could_advance_it() -> None:
    """No phrase that confirms a step is nearer than the limit to any that means something else; there are no exceptions."""
    assert [] == [pair for pair in RIVALS if pair.refused]


def test_what_the_shipped_procedure_is_warned_of() -> None:
    """Near pairs that advance nothing are levels, air and crew status, and numbers within the same words."""
    near = [{pair.one, pair.other} for pair in RIVALS if pair.too_near and pair.risk is Risk.OTHER]
    levels = {f"grain at {words}" for words in MARK_WORDS.values()}
    assert [] == [pair for pair in near if pair != {"air status", "crew status"} and not pair <= levels]


def test_two_ways_of_saying_the_same_are_no_rivals() -> None:
    """One command is one meaning: affirm and affirmative."""
    assert Affirm is type(in_force(BOOK, "people")["affirm"])
    assert not [pair for pair in RIVALS if {pair.one, pair.other} == set(AFFIRM_PHRASES)]


def test_rivals_come_nearest_first_and_each_once() -> None:
    """The phrase that advances comes first; far pairs are not measured to the end."""
    pairs = [frozenset((pair.one, pair.other)) for pair in RIVALS if pair.risk is not Risk.REPEATED]
    distances = [round(pair.distance, 6) for pair in RIVALS]
    assert sorted(distances) == distances
    assert len(pairs) == len(set(pairs))
    assert all(pair.distance <= FAR or pair.distance == float("inf") for pair in RIVALS)


def test_numbers_that_are_near_are_named() -> None:
    """Five and nine, teens and tens; one number in two words is not."""
    found = {frozenset((one, other)) for one, other, _ in near_numbers(MEASURE)}
    assert {frozenset(("five", "nine")), frozenset(("thirteen", "thirty"))} <= found
    assert frozenset(("nine", "niner")) not in found
    assert frozenset(("six", "seven")) not in found


def test_near_answers_are_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two answers of one question that differ in a sound or two: file, line, both phrases and what to do."""
    answers = '{ say = ["the step is done"], value = "unknown" },\n  { say = ["the step is gone"], value = "other" },'
    status, out, said = checked(tmp_path, capsys, ASKED, answers)
    assert 8 == status
    assert 1 == len(said.splitlines())
    named = re.search(r"ours, line (\d+): step 'legs'", said)
    assert named is not None
    assert "the step is done" in (tmp_path / "ours.toml").read_text(encoding="utf-8").splitlines()[int(named[1]) - 1]
    assert "'the step is done' sounds too much like 'the step is gone'" in said
    assert "Reword one of the two" in said
    assert "the step is done / the step is gone (legs, too near)" in out
    assert "in order" not in out


def test_a_step_that_sounds_like_an_emergency_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What advances is weighed against all that is always in force."""
    status, _out, said = checked(tmp_path, capsys, '"probing is complete"', '"the ring is sleeping"')
    assert 8 == status
    assert "'the ring is sleeping' sounds too much like 'the ring is leaking'" in said
    assert "step 'probe'" in said


def test_a_step_that_sounds_like_the_one_before_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two people confirm the same step, or one says it twice: the second must not confirm the next step."""
    status, _out, said = checked(tmp_path, capsys, '"the ring is driven down"', '"every joint has fastened"')
    assert 8 == status
    assert "'every joint has fastened' sounds too much like 'every joint is fastened'" in said
    assert "which confirms the step before 'driven' and may be said once more" in said


def test_near_emergencies_are_warned_of(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Neither advances a step: it is said, and not refused."""
    beside = tmp_path / "emergencies.toml"
    beside.write_text(
        shipped_texts()["emergencies"].replace('"gas alarm is sounding"', '"rescuer is drown"'), encoding="utf-8"
    )
    status, out, _said = checked(tmp_path, capsys, "version = 1", "version = 2")
    assert 0 == status
    assert "rescuer is drown / rescuer is down (every step, too near)" in out
    assert "Warning:" in out


def test_a_house_phrase_that_is_too_near_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The site card's own words are weighed as the procedure's are, and the card's line is named."""
    card = tmp_path / "card.toml"
    card.write_text(
        '[department]\nname = "Invented Township"\n\n[[wording]]\nstep = "gap"\nsay = ["all gaps have been closed"]\n\n'
        '[[wording]]\nstep = "driven"\nsay = ["the ring is driven home", "the ring is sleeping"]\n',
        encoding="utf-8",
    )
    assert 8 == main(["check", "--site", str(card)])
    said = capsys.readouterr().err
    assert "card.toml, line 10: the phrase 'the ring is sleeping'" in said
    card.write_text(card.read_text(encoding="utf-8").replace(', "the ring is sleeping"', ""), encoding="utf-8")
    assert 0 == main(["check", "--site", str(card)])


def test_a_word_that_the_model_does_not_know_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It could never be heard."""
    status, _out, said = checked(tmp_path, capsys, '"probing is complete"', '"probing is qwertzed"')
    assert 4 == status
    assert "does not know: qwertzed" in said


def test_numbers_of_a_large_ring_are_warned_of(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Five and nine in the same words: no other wording would help, so it is said and not refused."""
    card = tmp_path / "card.toml"
    card.write_text('[department]\nname = "Invented"\n[[panels]]\ncount = 9\nwidth_in = 24\nlength_ft = 5\n')
    assert 0 == main(["check", "--site", str(card)])
    assert "corner five {number} inches / corner nine {number} inches" in capsys.readouterr().out
    nine = Book(BOOK.procedure, House(panels=9), "")
    pairs = {(pair.one, pair.other): pair for pair in rivals_of(nine, MEASURE)}
    five = pairs["panel five standing", "panel nine standing"]
    assert five.too_near
    assert Risk.COUNTS is five.risk


def test_far_too_many_phrases_are_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file that would take for ever to weigh is refused at once, with the step."""
    words = sorted(word for word in LEXICON if len(word) > 6 and word.isalpha())[:600]
    answers = "\n".join(f'{{ say = ["answer {word} here"], value = "v{n}" }},' for n, word in enumerate(words))
    status, _out, said = checked(tmp_path, capsys, ASKED, answers)
    assert 8 == status
    assert "step 'legs'" in said
    assert "can be told apart" in said


def test_a_model_without_a_table_is_not_measured(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Another model: it is said that nothing was measured. No model at all is an error."""
    assert 0 == main(["check", "--model", str(tmp_path)])
    assert "was not measured" in capsys.readouterr().out
    assert 4 == main(["check", "--model", str(tmp_path / "nowhere")])
    assert "There is no speech model" in capsys.readouterr().err


def test_the_limit_leaves_room() -> None:
    """What is shown reaches beyond what is refused."""
    assert 0 < LIMIT < FAR
