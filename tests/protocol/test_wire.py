"""Every command and event survives JSON and back; what is not one is refused by name."""

import json
from decimal import Decimal
from typing import get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from protocol import commands as cmd
from protocol import events as ev
from protocol.air import Gas
from protocol.errors import HistoryError
from protocol.headset import Sound
from protocol.history import fold
from protocol.wire import command_from, event_from, to_plain
from tests.sound_levels import SOUNDS

st.register_type_strategy(Decimal, st.decimals(allow_nan=False, allow_infinity=False, min_value=0, max_value=10**6))
st.register_type_strategy(float, st.floats(0, 1))
st.register_type_strategy(Sound, SOUNDS)

COMMANDS = get_args(cmd.Command)
EVENTS = get_args(ev.Event)


@pytest.mark.parametrize("kind", COMMANDS, ids=lambda kind: kind.__name__)
@settings(max_examples=40)
@given(data=st.data())
def test_every_command_survives_json(kind: type[cmd.Command], data: st.DataObject) -> None:
    """Written as JSON text and read again it is the same command, field for field."""
    command = data.draw(st.from_type(kind))
    assert command == command_from(json.loads(json.dumps(to_plain(command))))


@pytest.mark.parametrize("kind", EVENTS, ids=lambda kind: kind.__name__)
@settings(max_examples=40)
@given(data=st.data())
def test_every_event_survives_json(kind: type[ev.Event], data: st.DataObject) -> None:
    """Written as JSON text and read again it is the same event, field for field."""
    event = data.draw(st.from_type(kind))
    back = event_from(json.loads(json.dumps(to_plain(event))))
    assert event == back
    assert kind is type(back)


def test_a_value_keeps_its_digits() -> None:
    """A reading said as 20.90 is written as 20.90: nothing is rounded and no float comes between."""
    plain = to_plain(ev.AirRead(1, Gas.OXYGEN, Decimal("20.90"), "hatch", "good"))
    assert "20.90" == plain["value"]
    assert "20.90" == str(event_from(plain).value)  # type: ignore[union-attr]
    assert "1200" == to_plain(ev.AirRead(1, Gas.CARBON_MONOXIDE, Decimal("1.2E+3"), "hatch", "bad"))["value"]


def test_no_command_and_event_share_a_name() -> None:
    """The name in a record says which it is."""
    names = [kind.__name__ for kind in (*COMMANDS, *EVENTS)]
    assert len(set(names)) == len(names)


@pytest.mark.parametrize(
    ("plain", "reason"),
    [
        ({}, "unknown message None"),
        ({"is": "Exploded", "at_ms": 1}, "unknown message 'Exploded'"),
        ({"is": "Tick", "at_ms": 1}, "unknown message 'Tick'"),
        ({"is": "WorkHeld"}, "WorkHeld: at_ms: Field required"),
        ({"is": "WorkHeld", "at_ms": "soon"}, "WorkHeld: at_ms"),
        ({"is": "WorkHeld", "at_ms": 1, "by": "me"}, "WorkHeld has unknown fields: by"),
        ({"is": "AirRead", "at_ms": 1, "gas": "helium", "value": "1", "place": "hatch", "verdict": "good"}, "gas"),
        ({"is": "AirRead", "at_ms": 1, "gas": "oxygen", "value": "NaN", "place": "hatch", "verdict": "good"}, "value"),
        ([], "list where a message should be"),
    ],
)
def test_what_is_no_event_is_refused_by_name(plain: dict[str, object], reason: str) -> None:
    """Nothing unknown is guessed at: the message names the type and the field."""
    with pytest.raises(HistoryError, match=reason):
        event_from(plain)


@given(st.recursive(st.none() | st.booleans() | st.integers() | st.text(), lambda inner: st.lists(inner)
                    | st.dictionaries(st.sampled_from(["is", "at_ms", "step", "to", "x"]), inner), max_leaves=8))  # fmt: skip
def test_nothing_but_a_history_error_comes_out(plain: object) -> None:
    """Whatever a damaged record holds, reading it fails with one known error."""
    for read in (event_from, command_from):
        try:
            message = read(plain)  # type: ignore[arg-type]
        except HistoryError:
            continue
        assert type(message) in {*COMMANDS, *EVENTS}


@pytest.mark.parametrize(
    ("events", "reason"),
    [
        ([ev.WorkHeld(0)], "before the incident was opened"),
        ([ev.IncidentOpened(0, "drill", ""), ev.IncidentOpened(1, "drill", "")], "opened twice"),
        ([ev.IncidentOpened(5, "drill", ""), ev.WorkHeld(4)], "out of order"),
        ([ev.IncidentOpened(0, "drill", ""), ev.EmergencyEnded(1, "leak", False)], "not the one that is open"),
        ([ev.IncidentOpened(0, "drill", ""), ev.EntryTakenBack(1, "air", "")], "cannot be taken back"),
    ],
)
def test_events_that_cannot_follow_one_another_are_refused(events: list[ev.Event], reason: str) -> None:
    """A record that is out of order or has a hole is an error, never a silent state."""
    with pytest.raises(HistoryError, match=reason):
        fold(events)
