"""The incident record: whole, or it says what is not."""

import json
import os
from pathlib import Path

import pytest

from assistant.clock import ManualClock
from assistant.errors import JournalError
from assistant.incident import Incident, begin, open_incident, resume_incident
from assistant.journal import Journal, read
from assistant.library import source_for
from assistant.replay import rebuild, verify
from protocol.commands import Origin, Role

CREW = Origin("crew", Role.BOTH, "keyboard")
WORDS = ("one person trapped", "person in plain sight", "affirmative", "buried to the waist", "breathing normally")


def opened(path: Path) -> Incident:
    """A fresh incident with a few confirmed steps."""
    incident = open_incident(source_for(), path, "drill", ManualClock())
    begin(incident, "drill")
    for second, words in enumerate(WORDS, start=1):
        assert incident.session.say(words, second * 1000, CREW)
    return incident


@pytest.fixture
def whole(tmp_path: Path) -> Path:
    """A closed file with a header and six records."""
    path = tmp_path / "incident.jsonl"
    opened(path).journal.close()
    return path


def test_what_was_written_is_read_back(tmp_path: Path) -> None:
    """Folding the recorded events gives the live state, and the rules decide each record again."""
    path = tmp_path / "incident.jsonl"
    incident = opened(path)
    history = read(path)
    assert incident.session.state == rebuild(history)
    assert verify(history) is None
    assert incident.journal.chain == history.chain


def test_resume_stands_where_it_stopped(whole: Path) -> None:
    """A resumed incident has the same step and counts, and its clock is not behind the record."""
    before = rebuild(read(whole))
    resumed = resume_incident(whole)
    assert before == resumed.session.state
    assert before.at_ms <= resumed.clock.now_ms()


def test_every_torn_tail_is_set_aside(whole: Path) -> None:
    """Cut anywhere in the last record, the file loads without it and the remains are kept beside it."""
    data = whole.read_bytes()
    last_start = data[:-1].rindex(b"\n") + 1
    expected = rebuild(read(whole)).steps_confirmed
    for cut in range(last_start, len(data)):
        whole.write_bytes(data[:cut])
        history = read(whole)
        assert data[last_start:cut] == history.torn
        assert expected - 1 == rebuild(history).steps_confirmed


def test_a_torn_record_is_kept_beside_the_file(whole: Path) -> None:
    """Going on after a tear moves the remains to a file of their own and appends cleanly."""
    whole.write_bytes(whole.read_bytes()[:-10])
    resumed = resume_incident(whole)
    assert "set aside" in resumed.note
    resumed.session.say("breathing normally", resumed.clock.now_ms(), CREW)
    resumed.journal.close()
    assert not read(whole).torn
    assert [f"{whole.name}.torn-6"] == [path.name for path in whole.parent.glob("*.torn-*")]


@pytest.mark.parametrize("line", [1, 2, 4])
def test_a_changed_record_shows(whole: Path, line: int) -> None:
    """A byte changed before the last line stops the load and names the line."""
    lines = whole.read_bytes().split(b"\n")
    lines[line - 1] = lines[line - 1].replace(b"1", b"2", 1)
    whole.write_bytes(b"\n".join(lines))
    with pytest.raises(JournalError, match=f"line {line}:"):
        read(whole)


def test_a_removed_record_shows(whole: Path) -> None:
    """A line taken out of the middle breaks the chain."""
    lines = whole.read_bytes().split(b"\n")
    del lines[3]
    whole.write_bytes(b"\n".join(lines))
    with pytest.raises(JournalError, match="line 4: the digest does not fit"):
        read(whole)


def test_a_forged_line_needs_the_whole_chain(whole: Path) -> None:
    """An added record with a made-up digest is refused."""
    lines = whole.read_bytes().split(b"\n")
    forged = json.loads(lines[2])
    forged["n"] = 3
    lines.insert(3, json.dumps(forged).encode())
    whole.write_bytes(b"\n".join(lines))
    with pytest.raises(JournalError, match="line 4"):
        read(whole)


@pytest.mark.parametrize("content", [b"", b"{}\n", b"[1]\n", b"\xff\xfe\n\n", b"not a record\nmore\n", b'{"format":9}\n'])
def test_nonsense_is_no_record(tmp_path: Path, content: bytes) -> None:
    """A file that is no incident record is refused with its first wrong line."""
    path = tmp_path / "x.jsonl"
    path.write_bytes(content)
    with pytest.raises(JournalError, match="line 1"):
        read(path)


def test_two_programs_cannot_write_one_incident(whole: Path) -> None:
    """The second one is told that the file is in use."""
    first, _history = Journal.reopen(whole)
    with pytest.raises(JournalError, match="in use"):
        Journal.reopen(whole)
    first.close()


def test_an_existing_file_is_not_overwritten(whole: Path) -> None:
    """A new incident never takes the place of an old one."""
    with pytest.raises(JournalError, match="already exists"):
        opened(whole)


def test_a_folder_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    """A path under a plain file cannot be a record; the message says which and what to do."""
    (tmp_path / "file").write_text("x")
    with pytest.raises(JournalError, match="Choose another folder"):
        opened(tmp_path / "file" / "incident.jsonl")


def test_a_full_disk_leaves_whole_records(tmp_path: Path) -> None:
    """When the disk takes no more, the record says so and the file ends with the last whole line."""
    path = tmp_path / "incident.jsonl"
    incident = opened(path)
    state = incident.session.state
    full = os.open("/dev/full", os.O_RDWR)
    os.dup2(full, incident.journal._handle)
    with pytest.raises(JournalError, match="Free some space"):
        incident.session.say("talking to us clearly", 9000, CREW)
    assert state == incident.session.state
    assert state == rebuild(read(path))
