"""What comes from the network: every message survives, and nothing else comes out of nonsense than one known error."""

from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from assistant.clock import ManualClock
from assistant.errors import LinkError
from assistant.journal import Journal, read, whole_lines
from assistant.stations import messages as ms
from assistant.stations.follower import Follower, topics_of
from assistant.stations.link import Came
from assistant.stations.log import Log
from assistant.stations.outbox import Outbox
from assistant.stations.replica import Replica, chain_of, number_of
from protocol import commands as cmd
from protocol.commands import Role
from protocol.delivery import Delivery
from protocol.errors import HistoryError
from protocol.headset import Sound
from tests.books import shipped_book
from tests.drills import VISIBLE
from tests.sound_levels import SOUNDS
from tests.stations.fake_broker import FakeBroker
from tests.stations.site import INCIDENT, Site
from tests.story import Story

st.register_type_strategy(Decimal, st.decimals(allow_nan=False, allow_infinity=False, min_value=0, max_value=10**6))
st.register_type_strategy(float, st.floats(0, 1))
st.register_type_strategy(Sound, SOUNDS)
KINDS = (ms.Lead, ms.Here, ms.Ask, ms.Fence, ms.Yielded)
RUBBISH = st.binary(max_size=300) | st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=4)
    | st.dictionaries(st.sampled_from(["term", "n", "is", "origin", "at_ms", "state", "role", "link", "after"]), inner),
    max_leaves=10,
).map(lambda value: repr(value).replace("'", '"').replace("None", "null").replace("True", "true").encode())


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__name__)
@settings(max_examples=30)
@given(data=st.data())
def test_every_message_survives(kind: type, data: st.DataObject) -> None:
    """Sent and read again it is the same."""
    message = data.draw(st.from_type(kind))
    assert message == ms.from_bytes(kind, ms.to_bytes(message))


def test_the_state_survives_at_every_moment_of_a_drill() -> None:
    """Whoever joins late has exactly the coordinator's state."""
    story = Story(shipped_book())
    for words in VISIBLE:
        story.say(words)
        sent = ms.Snapshot(1, 5, "x", story.state)
        assert sent == ms.from_bytes(ms.Snapshot, ms.to_bytes(sent))
    assert 0 < len(ms.to_bytes(sent)) < 20_000


@settings(max_examples=40)
@given(command=st.from_type(cmd.Command), delivery=st.from_type(Delivery))
def test_every_command_with_its_number_survives(command: cmd.Command, delivery: Delivery) -> None:
    """And one without a number is refused."""
    numbered = replace(command, origin=replace(command.origin, delivery=delivery))
    assert numbered == ms.said_from(ms.say_bytes(numbered))
    with pytest.raises(LinkError, match="without its number"):
        ms.said_from(ms.say_bytes(replace(command, origin=replace(command.origin, delivery=None))))


@settings(max_examples=300)
@given(payload=RUBBISH)
@example(payload=b"[" * 100_000)
@example(payload=b'{"term":' + b"9" * 5_000 + b"}")
@example(payload=b'{"n":1e400}')
@example(payload='{"term":"\ud800"}'.encode(errors="surrogatepass"))
@example(payload=b"\x00")
def test_nothing_but_one_known_error_comes_out_of_nonsense(payload: bytes) -> None:
    """Every decoder either gives a message of its kind or says that it is none."""
    for kind in (*KINDS, ms.Snapshot):
        try:
            assert isinstance(ms.from_bytes(kind, payload), kind)
        except LinkError:
            continue
    for decode in (ms.said_from, ms.lines_from):
        try:
            decode(payload)
        except LinkError:
            continue
    number_of(payload)
    chain_of(payload)


@settings(max_examples=100)
@given(payloads=st.lists(st.tuples(st.sampled_from(["header", "lead", "state", "records", "fence", "yield", "x"]), RUBBISH), max_size=6))
def test_a_follower_survives_whatever_comes(payloads: list[tuple[str, bytes]]) -> None:
    """Nonsense on any topic is named, and changes nothing that it follows."""
    wire = FakeBroker().wire(topics_of(INCIDENT, "one"))
    follower = Follower(wire, INCIDENT, "one", ManualClock())
    wire.inbox.extend(Came(ms.topic(INCIDENT, "all", what), payload, kept=False) for what, payload in payloads)
    follower.poll()
    assert follower.log is None


def test_a_message_that_is_too_long_is_not_read() -> None:
    """Whoever sends megabytes is refused before they are decoded."""
    for decode in (ms.said_from, ms.lines_from, lambda payload: ms.from_bytes(ms.Lead, payload)):
        with pytest.raises(LinkError, match="bytes"):
            decode(b" " * (ms.MOST_BYTES + 1))


def test_batches_carry_every_line_once_in_order() -> None:
    """A catch-up over a long record is cut into pieces of a size that travels."""
    lines = [b"x" * (size * 997 % 60_000 + 1) for size in range(100)]
    pieces = ms.batches(lines)
    assert lines == [line for piece in pieces for line in piece]
    assert all(len(piece) == 1 or sum(map(len, piece)) <= ms.BATCH_BYTES for piece in pieces)
    assert [] == ms.batches([])


@pytest.fixture
def record(tmp_path: Path) -> Path:
    """A record of some lines."""
    broker = FakeBroker()
    site = Site(ManualClock(), lambda topics, will, _name: broker.wire(topics, will), tmp_path)
    site.lead()
    site.join("officer", Role.OUTSIDE)
    site.pass_time(3)
    site.say("officer", "one person trapped")
    site.pass_time(1)
    return tmp_path / "command.jsonl"


def test_no_changed_line_is_ever_followed(record: Path) -> None:
    """Any byte of a line changed: refused, and the copy asks again."""
    header, *lines = whole_lines(record)
    for place in range(0, len(lines[1]), 7):
        changed = bytearray(lines[1])
        changed[place] ^= 1
        log = Log(header)
        gained = log.take(ms.Lines(1, (lines[0], bytes(changed), *lines[2:])))
        assert 1 == len(gained.records)
        assert 1 == log.head.n


def test_a_replica_refuses_what_does_not_follow(record: Path, tmp_path: Path) -> None:
    """Out of order, changed or twice: nothing is written."""
    header, *lines = whole_lines(record)
    replica = Replica.copy(tmp_path / "copy.jsonl", header)
    for wrong in (lines[1], lines[0] + b" x", b"{}", b"\xff", header):
        with pytest.raises(HistoryError):
            replica.append_line(wrong)
    for line in lines:
        replica.append_line(line)
    with pytest.raises(HistoryError):
        replica.append_line(lines[-1])
    replica.close()
    assert record.read_bytes() == (tmp_path / "copy.jsonl").read_bytes()
    with pytest.raises(HistoryError):
        Replica.copy(tmp_path / "other.jsonl", lines[0])


def test_the_replica_is_a_record_that_can_be_gone_on_with(record: Path, tmp_path: Path) -> None:
    """Reopened as any record: same state, same digest."""
    header, *lines = whole_lines(record)
    replica = Replica.copy(tmp_path / "copy.jsonl", header)
    for line in lines:
        replica.append_line(line)
    replica.close()
    reopened, history = Journal.reopen(tmp_path / "copy.jsonl")
    assert read(record).chain == history.chain == reopened.chain
    reopened.close()


def test_an_outbox_is_there_after_the_power_failed(tmp_path: Path) -> None:
    """What was kept is kept under its number and session; a torn or damaged file never uses a number twice."""
    path = tmp_path / "one.jsonl"
    first = Outbox(path)
    origin = cmd.Origin("one", cmd.Role.INSIDE, "voice", "canister is full")
    kept = [first.keep(cmd.CountCanister(5, origin), 5, 1) for _ in range(3)]
    again = Outbox(path)
    assert (first.session, kept) == (again.session, again.after(0))
    assert [kept[2]] == again.after(2)
    path.write_bytes(path.read_bytes() + b'{"torn')
    assert 3 == len(Outbox(path))
    path.write_bytes(path.read_bytes()[:200] + b"\nrubbish\n")
    damaged = Outbox(path)
    assert 0 == len(damaged)
    assert first.session != damaged.session
    assert 1 == len(list(tmp_path.glob("*.damaged-*")))


def test_a_snapshot_never_takes_a_follower_back(record: Path) -> None:
    """One that is further on is taken at the start; an older one, or one of a replaced coordinator, never."""
    header, *lines = whole_lines(record)
    whole = Log(header)
    whole.take(ms.Lines(1, tuple(lines)))
    snapshot = ms.Snapshot(1, whole.head.n, whole.head.chain, whole.state)
    assert not whole.jump(snapshot)
    late = Log(header)
    assert late.jump(snapshot)
    assert (whole.state, whole.head.n) == (late.state, late.head.n)
    fenced = Log(header)
    fenced.raise_fence(2)
    assert not fenced.jump(snapshot)
