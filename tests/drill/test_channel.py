"""The trainer's channel: typed, worked on, and never heard by the crew but for what it brings about."""

import pytest

from assistant.drill.channel import _WORK, HELP, Channel
from assistant.inputs import Input, Order
from protocol import commands as cmd
from protocol import events as ev
from tests.drill.rig import Rig


class Desk:
    """A channel on a drill, with what it showed and put."""

    def __init__(self) -> None:
        self.rig = Rig("bad_air")
        self.shown: list[str] = []
        self.put: list[Input] = []
        self.channel = Channel(
            self.rig.director, self.rig.loaded.book, lambda: self.rig.state, lambda: ["fact one", "fact two"], self.shown.append
        )

    def type(self, *lines: str) -> list[str]:
        """Type lines; gives those that were for the crew."""
        return list(self.channel.crew_lines(lines, self.put.append))

    def order(self) -> cmd.Command:
        """The one order that was put."""
        (found,) = self.put
        assert isinstance(found, Order)
        return found.command


def test_other_lines_are_the_crews() -> None:
    """A phrase, or one of the keyboard's own commands, passes through as it was typed."""
    desk = Desk()
    lines = ["kneeling by the person", "/override no meter", "/quit", ""]
    assert lines == desk.type(*lines)
    assert [] == desk.put


@pytest.mark.parametrize(
    ("line", "command"),
    [
        ("/pause", cmd.PauseDrill(0, cmd.Origin("trainer", cmd.Role.BOTH, "keyboard"), paused=True)),
        ("/continue", cmd.PauseDrill(0, cmd.Origin("trainer", cmd.Role.BOTH, "keyboard"), paused=False)),
        ("/rewind beside", cmd.RewindDrill(0, cmd.Origin("trainer", cmd.Role.BOTH, "keyboard"), "beside")),
        ("/trainer slow hands", cmd.TrainerNote(0, cmd.Origin("trainer", cmd.Role.BOTH, "keyboard"), "slow hands")),
        ("/finish late", cmd.EndDrill(0, cmd.Origin("trainer", cmd.Role.BOTH, "keyboard"), "late")),
    ],
)
def test_a_line_is_an_order(line: str, command: cmd.Command) -> None:
    """Each becomes one command in the one queue, from the trainer."""
    desk = Desk()
    assert [] == desk.type(line)
    assert command == desk.order()


def test_an_inject_is_given_by_its_name() -> None:
    """As the scenario wrote it."""
    desk = Desk()
    desk.type("/inject meter_alarm")
    order = desk.order()
    assert isinstance(order, cmd.GiveInject)
    assert ("meter_alarm", True, 20.0) == (order.inject, order.urgent, order.within_s)


def test_something_else_can_be_told() -> None:
    """In the trainer's own words, to both sides."""
    desk = Desk()
    desk.type("/tell The wind has turned.")
    order = desk.order()
    assert isinstance(order, cmd.GiveInject)
    assert ("both", "The wind has turned.") == (order.to, order.text)


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("/rewind nowhere", "has not been at a step called 'nowhere'"),
        ("/rewind", "has not been"),
        ("/inject flood", "no inject 'flood'"),
        ("/tell", "Type what happens"),
        ("/trainer", "Type the note"),
        ("/injects", "meter_alarm"),
        ("/steps", "beside"),
        ("/facts", "fact one\nfact two"),
        ("/help", "/pause"),
    ],
)
def test_what_is_no_order_is_answered_at_the_terminal(line: str, words: str) -> None:
    """A question or a slip is answered to the trainer alone."""
    desk = Desk()
    assert [] == desk.type(line)
    assert [] == desk.put
    assert words in "\n".join(desk.shown)


def test_steps_are_those_since_the_crew_came_in() -> None:
    """What was prepared is not offered."""
    desk = Desk()
    desk.rig.say("kneeling by the person")
    desk.type("/steps")
    assert ["beside", "face"] == [line.split()[0] for line in desk.shown[0].splitlines()]


def test_nothing_of_it_is_said_to_the_crew() -> None:
    """Asked, listed or noted: not a sentence for a headset."""
    desk = Desk()
    before = len(desk.rig.events(ev.Said))
    desk.type("/steps", "/injects", "/facts", "/help", "/trainer good hands")
    desk.rig.do(desk.order())
    assert before == len(desk.rig.events(ev.Said))
    assert ["good hands"] == [event.text for event in desk.rig.events(ev.TrainerNoted)]


def test_help_names_every_word() -> None:
    """What can be typed is what is explained."""
    assert [] == [word for word in _WORK if word not in HELP]
