"""Records from somebody else: whatever is in them, a report is made or a sentence says why not."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from assistant.debrief.counting import as_json, events_csv
from assistant.debrief.html_page import html_page
from assistant.debrief.pdf_pages import pdf_pages
from assistant.debrief.sections import Cover, report
from assistant.debrief.telling import tell
from assistant.errors import JournalError
from assistant.journal import _dump, _link

ODD = st.one_of(
    st.none(), st.booleans(), st.integers(-(10**12), 10**12), st.floats(allow_nan=False), st.text(max_size=20),
    st.sampled_from(["", "<script>alert(1)</script>", "\ud800", "knees", "bad_air", "1e9", "-5", "NaN"]),
)  # fmt: skip
LIMITS = settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])


@LIMITS
@given(at=st.floats(0, 1), junk=st.binary(max_size=30), cut=st.integers(0, 60))
def test_any_bytes_anywhere(records: Mapping[str, Path], tmp_path: Path, at: float, junk: bytes, cut: int) -> None:
    """Bytes put in, taken out or changed: told with its faults, or refused as no record."""
    data = records["troubled"].read_bytes()
    place = round(at * len(data))
    path = tmp_path / "changed.jsonl"
    path.write_bytes(data[:place] + junk + data[place + cut :])
    _made(path)


@LIMITS
@given(line=st.integers(0, 79), event=st.integers(0, 5), field=st.integers(0, 6), value=ODD)
def test_any_value_in_an_event_with_a_chain_that_fits(
    records: Mapping[str, Path], tmp_path: Path, line: int, event: int, field: int, value: Any
) -> None:
    """One value of one event is replaced and the whole chain made anew, so that nothing shows but the value itself."""
    contents = [json.loads(text) for text in records["troubled"].read_bytes().splitlines()]
    events = contents[1 + line]["events"]
    chosen = events[event % len(events)]
    names = [name for name in chosen if name != "is"]
    chosen[names[field % len(names)]] = value
    path = tmp_path / "forged.jsonl"
    path.write_bytes(rechained(contents))
    _made(path)


@pytest.mark.parametrize("name", ["opened", "kind", "program", "procedure", "digest"])
def test_an_odd_header_is_told(records: Mapping[str, Path], tmp_path: Path, name: str) -> None:
    """A header with a word that means nothing: the report shows it as words, or says what is not known."""
    contents = [json.loads(text) for text in records["opened"].read_bytes().splitlines()]
    contents[0][name] = "<b>elsewhere</b>"
    path = tmp_path / "odd.jsonl"
    path.write_bytes(rechained(contents))
    _made(path)


def test_a_procedure_that_cannot_be_used_still_gives_a_report(records: Mapping[str, Path], tmp_path: Path) -> None:
    """Ids stand for titles, nothing is estimated, and a sentence says so."""
    contents = [json.loads(text) for text in records["drill"].read_bytes().splitlines()]
    contents[0]["texts"] = {contents[0]["procedure"]: "[procedure]\n"}
    path = tmp_path / "other.jsonl"
    path.write_bytes(rechained(contents))
    tale = tell(path)
    assert any("cannot be used by this version" in sentence for sentence in tale.condition.sentences)
    assert "Sentry" not in [row.title for row in tale.confirmations]
    assert tale.air
    assert () == tale.time_guesses
    _made(path)


def rechained(contents: list[dict[str, Any]]) -> bytes:
    """The lines with digests that fit."""
    chain, lines = "", []
    for content in contents:
        plain = {name: value for name, value in content.items() if name != "chain"}
        chain = _link(chain, plain)
        lines.append(_dump({**plain, "chain": chain}))
    return b"\n".join(lines) + b"\n"


def _made(path: Path) -> None:
    try:
        tale = tell(path)
    except JournalError:
        return
    made = report(tale, Cover("", path.name))
    page = html_page(made)
    assert "<script" not in page
    assert "<b>" not in page
    assert pdf_pages(made).startswith(b"%PDF")
    json.loads(as_json(tale))
    assert events_csv(tale)
