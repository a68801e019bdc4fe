"""The microphone: lost and back, behind and caught up, dated by the incident's clock."""

from collections import deque

import numpy as np
import pytest

from assistant.errors import AudioError
from assistant.hearing.blocks import BLOCK_S, RATE, Block
from assistant.inputs import Part
from assistant.microphone import HEARING, MOST_BLOCKS, SILENT_MS, LiveMicrophone

SIZE = round(BLOCK_S * RATE)


class FakeSource:
    """A microphone that is spoken into by the test."""

    def __init__(self) -> None:
        self.waiting: deque[Block] = deque()
        self.position = 0
        self.ended = False

    def hears(self, blocks: int, *, overflow: bool = False) -> None:
        """Let blocks arrive."""
        for _ in range(blocks):
            self.waiting.append(Block(np.zeros(SIZE, np.int16), self.position / RATE, overflow))
            self.position += SIZE

    def read(self, timeout_s: float) -> Block | None:
        """The next block."""
        del timeout_s
        return self.waiting.popleft() if self.waiting else None

    def close(self) -> None:
        """Gone."""
        self.ended = True


class Shop:
    """Opens microphones, or has none."""

    def __init__(self) -> None:
        self.sold: list[FakeSource] = []
        self.empty = False
        self.tries = 0

    def __call__(self) -> FakeSource:
        """One microphone."""
        self.tries += 1
        if self.empty:
            raise AudioError("none")
        self.sold.append(FakeSource())
        return self.sold[-1]


@pytest.fixture
def shop() -> Shop:
    """A shop with microphones."""
    return Shop()


def opened(shop: Shop) -> LiveMicrophone:
    """A microphone that opens and closes at once."""
    return LiveMicrophone(shop, 0, lambda work: work())


def parts_over(microphone: LiveMicrophone, start_ms: int, end_ms: int) -> list[tuple[int, Part]]:
    """What is reported while nothing is heard, polled every 25 ms."""
    return [(now, part) for now in range(start_ms, end_ms, 25) for part in microphone.poll(now)[1]]


def test_silence_of_the_device_is_told_within_three_seconds(shop: Shop) -> None:
    """A microphone that gives no block is reported, closed, and opened again with growing pauses until it is back."""
    microphone = opened(shop)
    shop.empty = True
    ((lost_ms, lost),) = parts_over(microphone, 0, 10_000)
    assert not lost.works
    assert SILENT_MS <= lost_ms <= 3_000
    assert shop.sold[0].ended
    assert 3 <= shop.tries <= 4
    shop.empty = False
    ((_, back),) = parts_over(microphone, 10_000, 20_000)[:1]
    assert Part("microphone", works=True, detail="The microphone is back.") == back


def test_the_programs_own_pause_is_not_the_microphones(shop: Shop) -> None:
    """After a minute in which the program stood still, a working microphone is not called lost."""
    microphone = opened(shop)
    assert [] == parts_over(microphone, 0, 100)
    assert [] == parts_over(microphone, 60_000, 60_000 + SILENT_MS - 25)


def test_backlog_drops_the_oldest_and_says_so_once(shop: Shop) -> None:
    """More than a second waiting: the newest second is decoded, the rest counted and told, and told again when over."""
    microphone = opened(shop)
    told: list[Part] = []
    for number in range(1, 4):
        shop.sold[0].hears(MOST_BLOCKS + 10)
        blocks, parts = microphone.poll(number * 1_560)
        told += parts
        while more := microphone.poll(number * 1_560)[0]:
            blocks += more
        assert MOST_BLOCKS == len(blocks)
        assert pytest.approx(number * 1.56) == blocks[-1].end_s
    assert pytest.approx(3 * 10 * BLOCK_S) == microphone.dropped_s
    assert ["The computer fell behind and 0.6 seconds were not heard. Say it again."] == [part.detail for part in told]
    later: list[Part] = []
    for now_ms in range(5_000, 12_000, 60):
        shop.sold[0].hears(1)
        later += microphone.poll(now_ms)[1]
    assert [(HEARING, True)] == [(part.part, part.works) for part in later]


@pytest.mark.parametrize("drift", [1.0002, 0.9998])
def test_blocks_keep_the_incidents_time_for_eight_hours(shop: Shop, drift: float) -> None:
    """A sound card 200 millionths fast or slow stays within half a second of the clock, and no sound is dropped."""
    microphone = opened(shop)
    given, last_s = 0, 0.0
    for now_ms in range(60, 8 * 3_600_000, 60_000):
        due = int(now_ms / 1000 / BLOCK_S * drift)
        while given < due:
            shop.sold[0].hears(min(MOST_BLOCKS, due - given))
            given += min(MOST_BLOCKS, due - given)
            while blocks := microphone.poll(now_ms)[0]:
                last_s = blocks[-1].end_s
        if given:
            assert abs(last_s - now_ms / 1000) <= 0.6
    assert microphone.dropped_s == 0.0


def test_lost_sound_moves_the_date_of_what_follows(shop: Shop) -> None:
    """After an overflow the next block is dated by the clock, and the missing seconds are counted."""
    microphone = opened(shop)
    shop.sold[0].hears(1)
    microphone.poll(60)
    shop.sold[0].hears(1, overflow=True)
    blocks, (part,) = microphone.poll(30_060)
    assert pytest.approx(30.06) == blocks[-1].end_s
    assert not part.works
    assert 29 < microphone.dropped_s < 30.1


def test_a_microphone_missing_at_the_start_is_looked_for(shop: Shop) -> None:
    """A patient run begins without one, says why, tries again with growing pauses, and tells when it is there."""
    shop.empty = True
    microphone = LiveMicrophone(shop, 0, lambda work: work(), patient=True)
    assert "none" == microphone.missing
    assert [] == parts_over(microphone, 0, 10_000)
    assert 4 == shop.tries, "at 0, 1, 3 and 7 s"
    shop.empty = False
    ((_at_ms, back),) = parts_over(microphone, 10_000, 17_400)
    assert back.works
    with pytest.raises(AudioError):
        LiveMicrophone(nothing_sold, 0)


def nothing_sold() -> FakeSource:
    """Never has a microphone."""
    raise AudioError("none")
