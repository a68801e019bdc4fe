"""A drill's clock that can stand still, while headset and sound go on by the machine's own."""

from collections.abc import Sequence

from assistant.clock import Clock
from assistant.inputs import Input, Words
from assistant.journal import Record
from assistant.live import Post
from protocol.state import State


class PausableClock:
    """Counts from its start, less the time that it was paused."""

    def __init__(self, inner: Clock, start_ms: int = 0) -> None:
        """Begin to count.

        Args:
            inner: the machine's clock.
            start_ms: what it shows first: more than zero when a drill goes on after a stop.
        """
        self._inner = inner
        self._lost_ms = inner.now_ms() - start_ms
        self._paused_ms: int | None = None

    @property
    def paused(self) -> bool:
        """Whether it stands still."""
        return self._paused_ms is not None

    def now_ms(self) -> int:
        """Milliseconds of the drill."""
        now_ms = self._inner.now_ms() if self._paused_ms is None else self._paused_ms
        return now_ms - self._lost_ms

    def wait_ms(self, duration_ms: int) -> None:
        """Return after `duration_ms` of the machine's clock."""
        self._inner.wait_ms(duration_ms)

    def pause(self) -> None:
        """Stand still from now on."""
        if self._paused_ms is None:
            self._paused_ms = self._inner.now_ms()

    def go_on(self) -> None:
        """Go on from where it stood."""
        if self._paused_ms is not None:
            self._lost_ms += self._inner.now_ms() - self._paused_ms
            self._paused_ms = None

    def react(self, _record: Record, state: State) -> None:
        """Stand still and go on with the drill on record."""
        if state.drill_paused and not state.closed:
            self.pause()
        else:
            self.go_on()


class OwnTime:
    """A post that keeps to the machine's clock, whatever the drill's does: sound does not stand still."""

    def __init__(self, post: Post, clock: Clock) -> None:
        self._post = post
        self._clock = clock

    def react(self, record: Record, state: State) -> None:
        """As the post does."""
        self._post.react(record, state)

    def poll(self, _now_ms: int) -> Sequence[Input]:
        """What happened there; words count from when they are taken, since the two clocks differ."""
        found = self._post.poll(self._clock.now_ms())
        return [Words(item.text, item.origin) if isinstance(item, Words) else item for item in found]

    @property
    def silent(self) -> bool:
        """As the post is."""
        return self._post.silent

    def close(self) -> None:
        """As the post does."""
        self._post.close()
