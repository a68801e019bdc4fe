"""Phrase lists, and the lines that `hear` prints."""

import io
import json
from pathlib import Path

import pytest

from assistant.errors import ModelError, UsageError
from assistant.hearing.hear import MOST_PHRASES, hear, read_phrases
from assistant.hearing.listener import ListenPhrase
from assistant.hearing.recogniser import SpeechModel

CLIPS = Path(__file__).parents[2] / "audio_fixtures" / "phrases"


def test_a_list_is_read_as_people_write_it(tmp_path: Path) -> None:
    """Capitals, spaces, empty lines, comments, Windows line ends, a byte order mark and doubles."""
    path = tmp_path / "list.txt"
    path.write_bytes("\ufeffPanel One Set\r\n\r\n# a comment\r\n  time   check \r\npanel one set\r\n".encode())
    assert ["panel one set", "time check"] == [phrase.text for phrase in read_phrases(path)]


@pytest.mark.parametrize(
    ("content", "words"),
    [(b"", "holds no phrase"), (b"# only\n", "holds no phrase"), (b"\xff\xfe\x00x", "is not text")],
)
def test_a_list_of_nothing_is_refused(tmp_path: Path, content: bytes, words: str) -> None:
    """One sentence that says what to do."""
    path = tmp_path / "list.txt"
    path.write_bytes(content)
    with pytest.raises(UsageError, match=words):
        read_phrases(path)


@pytest.mark.parametrize("lines", [MOST_PHRASES + 1, 1_000_000])
def test_endless_lists_are_refused(tmp_path: Path, lines: int) -> None:
    """More phrases than a station can listen for, however many."""
    path = tmp_path / "list.txt"
    path.write_text("".join(f"a {number:x}\n" for number in range(lines)))
    with pytest.raises(UsageError, match=f"{MOST_PHRASES} at most"):
        read_phrases(path)


def test_each_file_gets_a_line_and_a_bad_one_does_not_stop_the_rest(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The names in a line are a contract; the exit status tells that one file could not be used."""
    clip = CLIPS / "say_again.flac"
    (tmp_path / "bad.wav").write_text("no sound")
    out = io.StringIO()
    status = hear([tmp_path / "bad.wav", clip], [ListenPhrase("say again")], SpeechModel(), as_json=True, out=out)
    found = [json.loads(line) for line in out.getvalue().splitlines()]
    assert 3 == status
    assert "is not a recording" in capsys.readouterr().err
    assert [{"file", "accepted", "audio_s", "cpu_s"}] == [set(line) for line in found]
    assert ["say again"] == [row["phrase"] for row in found[0]["accepted"]]


def test_a_word_that_the_model_does_not_know_is_named() -> None:
    """Rather than never being heard."""
    with pytest.raises(ModelError, match="does not know: zzyzxly"):
        hear([], [ListenPhrase("open zzyzxly gate")], SpeechModel(), as_json=True, out=io.StringIO())
