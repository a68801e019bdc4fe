"""The incident record: whole, or it says what is not."""

import json
import os
import re
from pathlib import Path

import pytest

from assistant.clock import ManualClock
from assistant.errors import JournalError
from assistant.incident import Incident, begin, open_incident, resume_incident
from assistant.journal import MAX_FILE_BYTES, MAX_LINE_BYTES, Journal, read
from assistant.library import source_for
from assistant.replay import rebuild, verify
from protocol.commands import Note, Origin, Role

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
    lines[line - 1] = re.sub(rb"\d", lambda digit: b"%d" % (9 - int(digit[0])), lines[line - 1], count=1)
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


def test_a_record_after_a_failed_cut_starts_on_its_own_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Half a line that could not be removed at once is removed before the next record is written."""
    path = tmp_path / "incident.jsonl"
    incident = opened(path)
    write, cut = os.write, os.ftruncate

    def half(handle: int, data: bytes) -> int:
        if len(data) > 40:
            return write(handle, data[:40])
        raise OSError(5, "gone")

    def uncut(handle: int, length: int) -> None:
        raise OSError(5, f"{handle} cannot be cut to {length}")

    monkeypatch.setattr("assistant.journal.os.write", half)
    monkeypatch.setattr("assistant.journal.os.ftruncate", uncut)
    for _ in range(2):
        with pytest.raises(JournalError, match="nothing was lost"):
            incident.session.say("talking to us clearly", 9000, CREW)
    monkeypatch.setattr("assistant.journal.os.write", write)
    monkeypatch.setattr("assistant.journal.os.ftruncate", cut)
    assert incident.session.say("talking to us clearly", 9000, CREW)
    assert incident.session.state == rebuild(read(path))


def test_a_record_too_long_to_be_read_is_not_written(tmp_path: Path) -> None:
    """What `read` would refuse is refused when it is written, and the incident goes on."""
    path = tmp_path / "incident.jsonl"
    incident = opened(path)
    with pytest.raises(JournalError, match="too long"):
        incident.session.submit(Note(9000, CREW, "x" * MAX_LINE_BYTES))
    assert incident.session.say("talking to us clearly", 9000, CREW)
    assert incident.session.state == rebuild(read(path))


def test_earlier_remains_are_kept(whole: Path) -> None:
    """Two tears at the same record leave two files of remains."""
    for _ in range(2):
        data = whole.read_bytes()
        whole.write_bytes(data[:-10])
        resumed = resume_incident(whole)
        resumed.session.say("breathing normally", resumed.clock.now_ms(), CREW)
        resumed.journal.close()
    assert 2 == len(list(whole.parent.glob("*.torn-6*")))


def test_a_damaged_record_is_let_go_of(whole: Path) -> None:
    """A record that cannot be resumed is not kept locked by the attempt."""
    data = whole.read_bytes()
    whole.write_bytes(data.replace(b"visible", b"risible", 1))
    for _ in range(2):
        with pytest.raises(JournalError, match="digest does not fit"):
            Journal.reopen(whole)


def test_a_record_that_cannot_be_begun_leaves_no_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When the header cannot be written the name is free again."""

    def full(handle: int, data: bytes) -> int:
        raise OSError(28, f"{handle} takes no {len(data)} bytes")

    monkeypatch.setattr("assistant.journal.os.write", full)
    with pytest.raises(JournalError, match="Choose another folder"):
        opened(tmp_path / "incident.jsonl")
    assert [] == list(tmp_path.iterdir())


@pytest.mark.parametrize("place", ["/dev/zero", "/dev", "nul\0"])
def test_only_files_are_read(place: str) -> None:
    """A device, a folder or an impossible name is refused at once."""
    with pytest.raises(JournalError):
        read(Path(place))


def test_a_huge_file_is_refused_unread(tmp_path: Path) -> None:
    """A file of many gigabytes, holes for the most part, costs no memory."""
    path = tmp_path / "huge.jsonl"
    with path.open("wb") as file:
        file.truncate(MAX_FILE_BYTES + 1)
    with pytest.raises(JournalError, match="never so long"):
        read(path)
