"""The program's own words are not somebody's."""

from assistant.hearing.own_voice import TAIL_S, OwnVoice


def speaking() -> OwnVoice:
    """A station that says a prompt from 10 to 14 s."""
    voice = OwnVoice()
    voice.speaking("Panel two. Say, panel two standing.", 10.0, 14.0)
    return voice


def test_a_phrase_of_the_prompt_is_an_echo() -> None:
    """Said while the program says it, or while the room still rings: not taken."""
    voice = speaking()
    assert voice.may_be_echo("panel two standing", 12.0)
    assert voice.may_be_echo("panel two standing", 14.0 + TAIL_S - 0.01)


def test_another_phrase_is_heard_over_a_prompt() -> None:
    """What the prompt does not say is taken at any moment."""
    assert not speaking().may_be_echo("time check", 12.0)


def test_before_and_after_it_is_somebody() -> None:
    """The same words before the prompt and after the tail are a person's."""
    voice = speaking()
    assert not voice.may_be_echo("panel two standing", 9.9)
    assert not voice.may_be_echo("panel two standing", 14.0 + TAIL_S)


def test_a_prompt_cut_off_stops_guarding() -> None:
    """After a cut only the tail is guarded."""
    voice = speaking()
    voice.stopped(11.0)
    assert not voice.may_be_echo("panel two standing", 11.0 + TAIL_S)


def test_part_of_a_word_is_no_echo() -> None:
    """Whole words only: "even" is not in "eleven"."""
    voice = OwnVoice()
    voice.speaking("Canister eleven.", 0.0, 2.0)
    assert not voice.may_be_echo("even", 1.0)
