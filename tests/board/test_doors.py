"""PIN and tokens: few tries, long tokens, and a way back for somebody who mistyped."""

import pytest

from assistant.board.doors import (
    FIRST_WAIT_MS,
    FREE_TRIES,
    LONGEST_WAIT_MS,
    MOST_ADDRESSES,
    WRONG_UNTIL_NEW_PIN,
    Doors,
    Shut,
    new_pin,
)

HOUR_MS = 3_600_000


def doors(pin: str | None = "246810", *, most: int = 3, notices: list[str] | None = None) -> Doors:
    """Doors with a known PIN and sign-ins of one hour."""
    return Doors(pin, most, HOUR_MS, (notices if notices is not None else []).append)


def test_the_right_pin_gives_a_token_that_lasts_an_hour() -> None:
    """A token is good to the last millisecond of its time, and void after."""
    door = doors()
    token = door.enter("246810", "a", 0)
    assert isinstance(token, str)
    assert len(token) >= 43
    officer = door.officer(token, HOUR_MS - 1)
    assert officer is not None
    assert "board 1" == officer.station
    assert door.officer(token, HOUR_MS) is None


def test_no_token_and_a_wrong_token_are_nobody() -> None:
    """Only a token that was given out opens anything."""
    door = doors()
    assert [None, None, None] == [door.officer(token, 0) for token in (None, "", "x" * 43)]


def test_wrong_pins_bring_waits_that_double_to_a_quarter_of_an_hour() -> None:
    """Five free tries, then 30 s, one minute and so on; during a wait even the right PIN is refused."""
    door, now = doors(), 0
    for _ in range(FREE_TRIES - 1):
        answer = door.enter("000000", "a", now)
        assert isinstance(answer, Shut)
        assert 0 == answer.wait_ms
    waits = []
    for _ in range(8):
        answer = door.enter("000000", "a", now)
        assert isinstance(answer, Shut)
        waits.append(answer.wait_ms)
        refused = door.enter("246810", "a", now + answer.wait_ms - 1)
        assert isinstance(refused, Shut)
        now += answer.wait_ms
    assert [min(LONGEST_WAIT_MS, FIRST_WAIT_MS * 2**power) for power in range(8)] == waits
    assert isinstance(door.enter("246810", "a", now), str)


def test_one_address_does_not_shut_another_out() -> None:
    """Somebody who guesses elsewhere does not keep the officer out."""
    door = doors()
    for _ in range(FREE_TRIES + 3):
        door.enter("000000", "guesser", 0)
    assert isinstance(door.enter("246810", "officer", 0), str)


def test_many_wrong_pins_replace_the_pin_and_say_so_on_the_console() -> None:
    """Guessing from many addresses meets a new PIN after fifty tries; the console shows it."""
    notices: list[str] = []
    door = doors(notices=notices)
    for number in range(WRONG_UNTIL_NEW_PIN):
        door.enter("000000", f"address {number}", 0)
    assert 1 == len(notices)
    assert door.pin in notices[0]
    assert isinstance(door.enter("246810", "officer", 0), Shut) or door.pin == "246810"
    assert isinstance(door.enter(door.pin, "officer", 0), str)


def test_addresses_remembered_are_bounded() -> None:
    """A flood of addresses does not fill the memory."""
    door = doors()
    for number in range(MOST_ADDRESSES + 500):
        door.enter("000000", f"address {number}", 0)
    assert MOST_ADDRESSES == len(door._tries)


def test_officers_are_bounded_and_the_longest_idle_goes_first() -> None:
    """A fourth tablet signs the longest idle one out, not the one in use."""
    door = doors(most=3)
    tokens = [door.enter("246810", "a", moment) for moment in range(3)]
    assert isinstance(tokens[0], str)
    door.officer(tokens[0], 10)
    fourth = door.enter("246810", "a", 11)
    assert isinstance(fourth, str)
    kept = [door.officer(token, 12) is not None for token in tokens if isinstance(token, str)]
    assert [True, False, True] == kept


def test_leaving_makes_the_token_void() -> None:
    """Signing out is final."""
    door = doors()
    token = door.enter("246810", "a", 0)
    assert isinstance(token, str)
    door.leave(token)
    assert door.officer(token, 0) is None


@pytest.mark.parametrize("_draw", range(3))
def test_a_drawn_pin_has_six_digits(_draw: int) -> None:
    """PINs are six digits, leading zeros kept."""
    pins = {new_pin() for _ in range(200)}
    assert all(len(pin) == 6 and pin.isdigit() for pin in pins)
    assert len(pins) > 190
