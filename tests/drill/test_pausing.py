"""A clock that can stand still."""

from assistant.clock import ManualClock
from assistant.drill.pausing import OwnTime, PausableClock
from assistant.inputs import Input, Part, Words
from assistant.journal import Record
from protocol import commands as cmd
from protocol.state import State
from tests.drill.rig import WHO

RECORD = Record(1, 0, cmd.Tick(0), ())


def test_it_counts_from_its_making() -> None:
    """Zero when it is made, whatever the machine's clock says."""
    inner = ManualClock(5_000)
    clock = PausableClock(inner)
    assert 0 == clock.now_ms()
    clock.wait_ms(250)
    assert 250 == clock.now_ms()


def test_paused_time_is_lost() -> None:
    """It stands, and goes on from where it stood; twice the same asks for nothing."""
    inner = ManualClock()
    clock = PausableClock(inner)
    inner.move_to(1_000)
    clock.pause()
    inner.move_to(9_000)
    clock.pause()
    assert (1_000, True) == (clock.now_ms(), clock.paused)
    clock.go_on()
    clock.go_on()
    inner.move_to(9_500)
    assert (1_500, False) == (clock.now_ms(), clock.paused)


def test_it_follows_the_record() -> None:
    """Paused on record it stands; closed, it never does."""
    clock = PausableClock(ManualClock())
    clock.react(RECORD, State(drill_paused=True))
    assert clock.paused
    clock.react(RECORD, State())
    assert not clock.paused
    clock.react(RECORD, State(drill_paused=True, closed=True))
    assert not clock.paused


class Ear:
    """A post that notes when it was polled."""

    def __init__(self) -> None:
        self.polled: list[int] = []
        self.reacted = self.closed = 0
        self.silent = False

    def react(self, _record: Record, _state: State) -> None:
        """Count it."""
        self.reacted += 1

    def poll(self, now_ms: int) -> list[Input]:
        """Note when, and give two things."""
        self.polled.append(now_ms)
        return [Words("time check", WHO), Part("speaker", works=True, detail="")]

    def close(self) -> None:
        """Count it."""
        self.closed += 1


def test_sound_keeps_the_machines_time() -> None:
    """A station is polled by the machine's clock, and its words count from when they are taken."""
    inner, ear = ManualClock(7_000), Ear()
    post = OwnTime(ear, inner)
    assert [Words("time check", WHO), Part("speaker", works=True, detail="")] == post.poll(3)
    post.react(RECORD, State())
    post.close()
    assert ([7_000], 1, 1, False) == (ear.polled, ear.reacted, ear.closed, post.silent)
