"""The audio callback's part: exchange within a block, no click, no overflow, exact positions."""

import numpy as np

from assistant.clock import ManualClock
from assistant.speaking.deck import FADE, Deck, Tap, Track
from assistant.speaking.levels import Samples
from assistant.speaking.sound_output import BLOCK
from tests.speaking.fake_sound import LEVEL, steady


def blocks(deck: Deck, count: int) -> Samples:
    """The next blocks in a row."""
    filled = []
    for _ in range(count):
        out = np.full(BLOCK, 99, np.int16)
        deck.fill(out)
        filled.append(out)
    return np.concatenate(filled)


def test_a_new_track_begins_with_the_next_block() -> None:
    """The old one fades within 5 ms under the new one, so the exchange takes at most one block of 20 ms."""
    deck = Deck(ManualClock())
    old, new = Track(steady(1.0)), Track(-steady(1.0))
    deck.put(old)
    blocks(deck, 3)
    deck.put(new)
    heard = blocks(deck, 1)
    assert old.done.is_set()
    assert 0 == heard[0]
    assert np.all(-LEVEL == heard[FADE:])
    assert np.all(np.diff(heard[:FADE].astype(int)) <= 0)


def test_a_track_ends_and_silence_follows() -> None:
    """Every sample is heard once, then nothing; the end is told."""
    deck = Deck(ManualClock())
    track = Track(np.arange(1, BLOCK + 51, dtype=np.int16))
    deck.put(track)
    heard = blocks(deck, 3)
    assert track.done.is_set()
    assert np.array_equal(track.samples, heard[: BLOCK + 50])
    assert 0 == np.abs(heard[BLOCK + 50 :]).max()


def test_silencing_fades() -> None:
    """`put(None)` stops within 5 ms without a jump."""
    deck = Deck(ManualClock())
    deck.put(Track(steady(1.0)))
    blocks(deck, 1)
    deck.put(None)
    heard = blocks(deck, 2)
    assert LEVEL == heard[0]
    assert np.abs(np.diff(heard.astype(int))).max() <= LEVEL // FADE + 1
    assert 0 == np.abs(heard[FADE:]).max()


def test_a_track_can_grow_while_it_plays() -> None:
    """Samples added before its end follow without a gap."""
    deck = Deck(ManualClock())
    track = Track(steady(0.03))
    deck.put(track)
    blocks(deck, 1)
    track.samples = np.concatenate([track.samples, steady(0.05)])
    assert int(0.06 * 16_000) == np.count_nonzero(blocks(deck, 5))


def test_two_loud_sounds_do_not_overflow() -> None:
    """A fade over a faded-in clip at full level stays within 16 bits."""
    deck = Deck(ManualClock())
    loud = np.full(BLOCK * 4, 29_000, np.int16)
    rising = loud.copy()
    rising[:FADE] = np.linspace(0, 29_000, FADE, endpoint=False).astype(np.int16)
    deck.put(Track(loud))
    blocks(deck, 1)
    deck.put(Track(rising))
    assert blocks(deck, 1).min() > 0


def test_kept_blocks_carry_their_place_on_the_clock() -> None:
    """The first block lies at the clock's time plus the device's latency, the next ones follow sample by sample."""
    clock = ManualClock(500)
    taps: list[Tap] = []
    deck = Deck(clock, taps.append)
    deck.latency_ms = 40
    blocks(deck, 2)
    assert [] == taps
    deck.put(Track(steady(0.05)))
    for _ in range(4):
        blocks(deck, 1)
        clock.wait_ms(23)
    assert [540 * 16 + number * BLOCK for number in range(3)] == [tap.at_sample for tap in taps]
    assert int(0.05 * 16_000) == sum(np.count_nonzero(tap.samples) for tap in taps)
