"""A station on its own small computer: it hears and speaks here, and what it understood is decided elsewhere.

Linked, it speaks what the record says. Cut off, it says so, goes on with clocks and questions from the last state,
keeps what is confirmed with its times, and sends it when the link is back.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from assistant.clock import Clock
from assistant.inputs import Input, Order, Part, Stop, Words
from assistant.journal import Record
from assistant.station import Station
from assistant.stations import messages as ms
from assistant.stations.cut_off import CUT_OFF, NOT_HEARD, STILL_CUT_OFF, Shadow
from assistant.stations.follower import Follower, News
from assistant.stations.log import Log
from assistant.stations.outbox import Outbox
from protocol import commands as cmd
from protocol.delivery import Link
from protocol.events import Said, Urgency
from protocol.phrases import interpret, meanings
from protocol.scene import Book, Scene
from protocol.state import State

PULSE_MS = 2_000
SEND_AGAIN_MS = 2_000
REMIND_MS = 60_000
OLD_MS = 5_000
"""What was said in the record longer ago than this is not spoken when it comes."""
FIRST_WAIT_MS = 10_000
ABOUT = "station"


class RemoteStation:
    """One headset of an incident that another computer leads. Polled; not for several threads."""

    def __init__(
        self,
        station: Callable[[Book], Station],
        follower: Follower,
        role: cmd.Role,
        clock: Clock,
        outbox: Path | None,
        *,
        show: Callable[[str], None],
        tell: Callable[[Record, Book], None] = lambda _record, _book: None,
        battery: Callable[[], int | None] = lambda: None,
    ) -> None:
        """Make a station; it speaks once the incident's header has come.

        Args:
            station: makes ears and voice for an incident's procedure.
            follower: of the incident.
            role: whose headset this is.
            clock: this machine's.
            outbox: file for what is still to be sent; None: memory only.
            show: tells a person at the terminal.
            tell: is given each new record.
            battery: percent, if known.
        """
        self._make = station
        self.follower = follower
        self._origin = cmd.Origin(follower.name, role, "keyboard")
        self._clock = clock
        self.outbox = Outbox(outbox)
        self._show, self._tell, self._battery = show, tell, battery
        self.station: Station | None = None
        self._shadow: Shadow | None = None
        self._linked: bool | None = None
        self._started_ms = clock.now_ms()
        self._pulse_ms = self._sent_ms = -PULSE_MS
        self._remind_ms = 0
        self._sent = 0
        self._catching_up = False
        self.ended = ""

    @property
    def state(self) -> State:
        """The incident as last heard of."""
        return self.follower.log.state if self.follower.log else State()

    @property
    def role(self) -> cmd.Role:
        """Whose headset this is."""
        return self._origin.role

    @property
    def ready(self) -> bool:
        """Whether it knows of an open incident, linked or not."""
        return self.state.opened and self._linked is not None

    @property
    def cut_off(self) -> bool:
        """Whether it is on its own."""
        return self._linked is False

    @property
    def waiting(self) -> int:
        """How many commands are not on the record yet."""
        return len(self._unsettled())

    def put(self, item: Input) -> None:
        """Take what was said or typed here."""
        now_ms = self.follower.time.now_ms()
        if isinstance(item, Stop):
            self.ended = item.why
        elif isinstance(item, Words):
            self._words(item, now_ms)
        elif isinstance(item, Order):
            self._command(replace(item.command, at_ms=now_ms), now_ms)
        elif isinstance(item, Part):
            self._command(cmd.ReportPart(now_ms, self._origin, item.part, item.works, item.detail), now_ms)

    def poll(self) -> None:
        """Listen, speak, send, and notice whether the link holds."""
        made = self.station
        self._hear(self.follower.poll())
        if self.station is not made:
            return  # making ears and voice took time: what came meanwhile is heard first
        self._watch_link()
        if self.station is not None:
            for item in self.station.poll(self._clock.now_ms()):
                self.put(item)
        if self._linked:
            self._send()
        self._pulse()
        self._watch_end()

    def close(self) -> None:
        """Say goodbye and let go of devices."""
        self.follower.send("here", ms.to_bytes(self._here(Link.LEFT)), keep=True)
        self.follower.wire.close()
        if self.station is not None:
            self.station.close()

    # ------------------------------------------------------------------------------------------ from the coordinator

    def _hear(self, news: News) -> None:
        for trouble in news.troubles:
            self._show(f"** {trouble}")
        log = self.follower.log
        if log is None:
            return
        if self.station is None:
            self.station = self._make(log.book)
        for fence in news.fences:
            self.follower.offer(fence)
        old = self._react(log, news.records)
        if news.began or old:
            self._catching_up = True
        if self._catching_up and not self.follower.behind:
            self._catching_up = False
            self._stand_by_state(log)
        if news.records or news.began:
            self._shadow = None

    def _react(self, log: Log, records: Sequence[Record]) -> bool:
        """Speak what is new; whether there was anything that is too old to be spoken."""
        now_ms = self.follower.time.now_ms()
        old = False
        for record in records:
            self._tell(record, log.book)
            fresh = now_ms - record.at_ms <= OLD_MS and self.station is not None
            if fresh and self.station is not None:
                self.station.react(record, log.state)
            old = old or not fresh
        return old

    def _stand_by_state(self, log: Log) -> None:
        """After joining or catching up: listen for what now means something, and say where things stand."""
        assert self.station is not None
        state = log.state
        now_ms = max(self.follower.time.now_ms(), state.at_ms)
        self.station.listen_for(Scene(log.book, state, now_ms))
        if state.opened and not state.closed:
            side = "outside" if self._origin.role is cmd.Role.OUTSIDE else "inside"
            self._say(state.said_to(side), Urgency.PROMPT, state.step)

    # --------------------------------------------------------------------------------------------- to the coordinator

    def _words(self, item: Words, now_ms: int) -> None:
        log = self.follower.log
        if log is None:
            self._show("Not linked yet: nothing is known of the incident.")
            return
        state = self._present(log)
        at_ms = max(now_ms, state.at_ms)
        if item.text == "/words":
            self._show("; ".join(sorted(meanings(Scene(log.book, state, at_ms), self._origin.role))))
            return
        origin = replace(item.origin, station=self._origin.station, role=self._origin.role)
        command = interpret(log.book, state, item.text, at_ms, origin)
        if command is None:
            self._show(f"Not a phrase in force now: {item.text}. Type /words to see them.")
            return
        self._command(command, now_ms if item.said_ms is None else self.follower.time.at(item.said_ms))

    def _command(self, command: cmd.Command, said_ms: int) -> None:
        if self._linked:
            self._transmit(self.outbox.keep(command, said_ms, self.follower.log.fence if self.follower.log else 0))
            return
        shadow = self._shadow_now()
        if shadow is None:
            return
        command = replace(command, at_ms=max(command.at_ms, shadow.state.at_ms))
        if isinstance(command, cmd.Ask):
            self._say_all(shadow.answer(command))
            return
        self.outbox.keep(command, said_ms, self.follower.log.fence if self.follower.log else 0)
        alarms = shadow.alarms(command)
        self._say_all(alarms)
        if alarms:
            self._say(NOT_HEARD, Urgency.ALARM, ABOUT)
        self._say(f"Kept, not sent: {command.origin.heard or type(command).__name__}.", Urgency.ANSWER, ABOUT)

    def _send(self) -> None:
        """Send again what is not on the record, in order."""
        now_ms = self._clock.now_ms()
        if now_ms - self._sent_ms >= SEND_AGAIN_MS:
            self._sent_ms = now_ms
            for command in self._unsettled():
                self._transmit(command)

    def _transmit(self, command: cmd.Command) -> None:
        self.follower.send("say", ms.say_bytes(command))

    def _unsettled(self) -> list[cmd.Command]:
        return self.outbox.after(self.state.stations.seq(self.follower.name, self.outbox.session))

    def _pulse(self) -> None:
        now_ms = self._clock.now_ms()
        if self.station is not None and now_ms - self._pulse_ms >= PULSE_MS and self.follower.wire.up:
            self._pulse_ms = now_ms
            self.follower.send("pulse", ms.to_bytes(self._here(Link.UP)), sure=False)

    def _here(self, link: Link) -> ms.Here:
        n = self.follower.log.head.n if self.follower.log else 0
        return ms.Here(self._origin.role, link, self._battery(), n)

    # -------------------------------------------------------------------------------------------------------- the link

    def _watch_end(self) -> None:
        lead = self.follower.lead
        if lead is None or not lead.closed or self.ended:
            return
        if self.state.closed and not self.follower.behind:
            self.ended = "closed"
        elif self._linked is False and self.follower.wire.up:
            kept = len(self._unsettled())
            self.ended = f"closed while this station was cut off; {kept} kept commands were not taken"

    def _watch_link(self) -> None:
        linked = self.follower.linked
        now_ms = self._clock.now_ms()
        if linked and self._linked is not True:
            self._link_back(first=self._linked is None)
        elif not linked and (self._linked or (self._linked is None and now_ms - self._started_ms > FIRST_WAIT_MS)):
            self._linked = False
            self._remind_ms = now_ms + REMIND_MS
            self._show(f"!! {CUT_OFF}")
            self._say(CUT_OFF, Urgency.ALARM, ABOUT)
        if self._linked is False:
            self._go_on_alone(now_ms)

    def _link_back(self, *, first: bool) -> None:
        self._linked = True
        self.follower.send("here", ms.to_bytes(self._here(Link.UP)), keep=True)
        self._sent_ms = self._clock.now_ms() - SEND_AGAIN_MS
        if not first:
            self._shadow = None
            self._catching_up = True
            kept = len(self._unsettled())
            text = f"The link is back.{f' Sending {kept} that were kept.' if kept else ''}"
            self._show(f"** {text}")
            self._say(text, Urgency.PROMPT, ABOUT)

    def _go_on_alone(self, now_ms: int) -> None:
        if now_ms >= self._remind_ms:
            self._remind_ms = now_ms + REMIND_MS
            self._say(STILL_CUT_OFF, Urgency.PROMPT, ABOUT)
        shadow = self._shadow_now()
        if shadow is not None and self.follower.time.known:
            self._say_all(shadow.pass_time(self.follower.time.now_ms()))

    def _present(self, log: Log) -> State:
        return self._shadow.state if self._shadow is not None else log.state

    def _shadow_now(self) -> Shadow | None:
        log = self.follower.log
        if self._shadow is None and log is not None and log.state.opened:
            self._shadow = Shadow(log.book, log.state)
        return self._shadow

    def _say(self, text: str, urgency: Urgency, about: str) -> None:
        self._say_all([Said(self.follower.time.now_ms(), "both", urgency, text, about)] if text else [])

    def _say_all(self, sentences: Sequence[Said]) -> None:
        for said in sentences:
            if self.station is not None:
                self.station.tell(said, self.state)
