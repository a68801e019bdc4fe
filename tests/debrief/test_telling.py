"""From a record to a tale."""

from collections.abc import Mapping
from pathlib import Path

import pytest

from assistant.clock import wall_time
from assistant.debrief.moments import length, local_day, local_time, minutes, opened_at
from assistant.debrief.tale import Tale
from assistant.debrief.telling import tell
from assistant.errors import JournalError
from assistant.journal import read
from assistant.replay import book_of
from protocol import events as ev
from protocol.air import Gas, Verdict
from protocol.score import score
from tests.debrief.records import MINUTE_MS, PACE_MS, Written
from tests.drills import VISIBLE


def test_a_whole_drill_is_told_whole(tales: Mapping[str, Tale]) -> None:
    """Every confirmation, reading, canister, level and rescuer of the drill is there once, and it verifies."""
    tale = tales["drill"]
    assert True is tale.condition.verified
    assert tale.condition.whole
    assert tale.closed
    assert 12 == len(tale.air)
    assert 3 == len(tale.canisters)
    assert ["chest", "hips", "knees", "feet"] == [row.mark for row in tale.levels]
    assert [1, 2] == [row.slot for row in tale.crew]
    assert not any(row.span.open for row in tale.crew)
    assert () == tale.gaps
    heard = [line.text.split(" (")[0] for line in tale.story if line.sort == "heard"]
    assert list(VISIBLE) == heard


def test_each_confirmation_is_told_once(records: Mapping[str, Path], tales: Mapping[str, Tale]) -> None:
    """The last panel of four confirms the step too, and is one row, not two."""
    repeats = [event for event in read(records["drill"]).events if isinstance(event, ev.RepeatConfirmed)]
    steps = [event for event in read(records["drill"]).events if isinstance(event, ev.StepConfirmed)]
    repeated = {event.step for event in repeats}
    single = [event for event in steps if event.step not in repeated]
    assert len(repeats) + len(single) == len(tales["drill"].confirmations)


def test_time_in_stages_is_the_score_s(records: Mapping[str, Path], tales: Mapping[str, Tale]) -> None:
    """Stage times of the report are those that the score counts on its own way."""
    history = read(records["drill"])
    counted = {row.stage: row.spent_ms for row in score(history.events, book_of(history).procedure).stages}
    told: dict[str, int] = {}
    for row in tales["drill"].stages:
        told[row.stage] = told.get(row.stage, 0) + row.span.length_ms
    assert counted == told


def test_trouble_is_told(tales: Mapping[str, Tale]) -> None:
    """Override with its reason, bad air, an emergency taken back and one still open, hold, lost part, people inside."""
    tale = tales["troubled"]
    assert [("Was the person pulled", "Deputy <Ward> saw it & nobody asked.", True)] == [
        (row.what, row.reason, row.taken) for row in tale.orders
    ]
    assert ["rescuer_down", "bad_air"] == [row.kind for row in tale.emergencies]
    assert [True, False] == [row.withdrawn for row in tale.emergencies]
    assert tale.emergencies[1].span.open
    assert [2 * MINUTE_MS + PACE_MS] == [span.length_ms for span in tale.holds]
    assert ["microphone"] == [row.part for row in tale.parts]
    assert [70_000] == [row.span.length_ms for row in tale.parts]
    assert all(row.span.open for row in tale.crew)
    assert [Verdict.BAD] == [row.verdict for row in tale.air if row.value == 18.5]
    assert "passed by override" in {row.outcome for row in tale.confirmations}
    assert "The incident was not closed in this record." in tale.gaps


def test_a_torn_record_is_told_to_its_last_whole_line(tales: Mapping[str, Tale]) -> None:
    """What is torn is named and not counted; the rest is whole and verifies."""
    torn, whole = tales["torn"], tales["drill"]
    assert whole.condition.records - 1 == torn.condition.records
    assert torn.condition.whole
    assert "bytes of a record that was being written" in torn.condition.sentences[0]
    assert not torn.closed


def test_an_altered_record_is_told_and_says_so(tales: Mapping[str, Tale]) -> None:
    """Every line is told as found, the changed one is named by its number, and nothing is called verified."""
    tale = tales["altered"]
    assert not tale.condition.whole
    assert tale.condition.verified is None
    assert "changed or damaged" in tale.condition.sentences[0]
    assert "line 26" in tale.condition.sentences[0]
    assert tales["drill"].condition.records == tale.condition.records
    assert "20.1 %" in [row.shown for row in tale.air]


def test_an_empty_record_says_what_is_not_known(tales: Mapping[str, Tale]) -> None:
    """Nothing was said, and the report says that, not that all was well."""
    tale = tales["empty"]
    assert 0 == tale.condition.records
    assert tuple(Gas) == tale.not_read
    assert "No step was confirmed." in tale.gaps
    assert "Nothing was recorded after the file was begun." in tale.condition.sentences
    assert () == tale.handover


def test_a_removed_line_is_named(records: Mapping[str, Path], tmp_path: Path) -> None:
    """A record without one of its lines is told, and both the chain and the number show it."""
    lines = records["drill"].read_bytes().split(b"\n")
    path = tmp_path / "removed.jsonl"
    path.write_bytes(b"\n".join(lines[:30] + lines[31:]))
    tale = tell(path)
    assert not tale.condition.whole
    assert "line 31" in tale.condition.sentences[0]


def test_a_correction_takes_the_right_row_back(tmp_path: Path) -> None:
    """The entry taken back stays in the report, marked; a rescuer called in again goes on being inside."""
    told = Written(tmp_path / "corrected.jsonl")
    told.say_all(VISIBLE[: VISIBLE.index("canister is full")])
    told.say_all(["canister is full", "canister is full", "correction"])
    tale = tell(told.close())
    assert [False, True] == [row.taken_back for row in tale.canisters]
    assert 1 == len(tale.level_guesses)


def test_what_was_predicted_stands_beside_what_came(tales: Mapping[str, Tale]) -> None:
    """Predictions carry a range, and come with the calls they were made at."""
    tale = tales["drill"]
    assert tale.time_guesses
    assert all(guess.low_s <= guess.value_s <= guess.high_s for guess in tale.time_guesses)
    assert all(guess.low_m <= guess.value_m <= guess.high_m for guess in tale.level_guesses)
    calls = {row.at_ms for row in tale.canisters} | {row.at_ms for row in tale.levels}
    assert calls >= {guess.at_ms for guess in tale.time_guesses}


@pytest.mark.parametrize("content", [b"", b"\n", b"not a record\n", b"[1]\n", b'{"format": 1}\n', b"\x00" * 100])
def test_what_is_no_record_is_refused_with_a_sentence(content: bytes, tmp_path: Path) -> None:
    """No report is made from something else."""
    path = tmp_path / "other.jsonl"
    path.write_bytes(content)
    with pytest.raises(JournalError, match="no whole header"):
        tell(path)


def test_a_missing_record_is_named(tmp_path: Path) -> None:
    """The sentence names the file and what to check."""
    with pytest.raises(JournalError, match="Check the name"):
        tell(tmp_path / "none.jsonl")
    with pytest.raises(JournalError, match="is not a file"):
        tell(tmp_path)


def test_moments_read_in_both_ways() -> None:
    """Local time with its offset, minutes to a tenth, lengths in words; an unreadable start is not guessed at."""
    from tests.debrief.conftest import ZONE  # noqa: PLC0415

    opened = opened_at("2026-03-08T07:59:58+00:00")
    assert "02:00:03" == local_time(opened, 5_000, ZONE)
    assert "8 March 2026, 01:59:58 (UTC-06:00)" == local_day(opened, 0, ZONE)
    assert "12.4" == minutes(744_000)
    assert ["45 s", "3 min 20 s", "2 h 05 min"] == [length(ms) for ms in (45_000, 200_000, 7_500_000)]
    assert opened_at("yesterday") is None
    assert "not known" == local_time(None, 0)
    assert opened_at(wall_time()) is not None


def test_a_drill_tells_its_scenario(tales: Mapping[str, Tale]) -> None:
    """What was prepared is marked as such and takes no time; injects, the trainer's note and the score are there."""
    tale = tales["scenario"]
    assert "Chest deep, and the ring leaks" == tale.scenario
    prepared = [row for row in tale.confirmations if row.outcome == "prepared for the drill"]
    assert 44 == len(prepared)
    assert all(row.at_ms == 0 for row in prepared)
    assert ["vacuum", "emergency"] == [row.stage for row in tale.stages]
    injects = [row.text for row in tale.moments if row.what == "inject"]
    assert "Look down: grain is running in at corner three." in injects
    assert [("trainer", "They looked at once.")] == [(row.what, row.text) for row in tale.notes]
    assert tale.score is not None
    assert len(injects) == len(tale.score.injects)
    assert tale.condition.verified


def test_a_rewound_drill_keeps_its_crew_straight(tmp_path: Path) -> None:
    """Put back to before anybody went in, nobody is inside from then on; their first stay stays in the report."""
    from protocol import commands as cmd  # noqa: PLC0415

    trainer = cmd.Origin("trainer", cmd.Role.BOTH, "keyboard")
    told = Written(tmp_path / "rewound.jsonl")
    told.do(cmd.BeginDrill(told.now, trainer, "", "Rewound"))
    told.say_all(VISIBLE[: VISIBLE.index("walkway boards are laid")])
    told.wait(told.now + MINUTE_MS)
    told.do(cmd.RewindDrill(told.now, trainer, "people"))
    told.wait(told.now + MINUTE_MS)
    tale = tell(told.close())
    assert [1, 2] == [row.slot for row in tale.crew]
    assert not any(row.span.open for row in tale.crew)
    assert "Put back to How many are trapped" in [row.text for row in tale.moments if row.what == "put back"]
    assert "size_up" == tale.stages[-1].stage
    assert tale.condition.verified


def test_other_headsets_and_a_new_lead_are_told(tmp_path: Path) -> None:
    """A station that lost its link is a lost part until it is back; taking the lead is an order with a reason."""
    from protocol import commands as cmd  # noqa: PLC0415
    from protocol.delivery import Link  # noqa: PLC0415
    from tests.debrief.records import OFFICER  # noqa: PLC0415

    told = Written(tmp_path / "stations.jsonl")
    for link, wait_ms in ((Link.UP, 10_000), (Link.LOST, 20_000), (Link.UP, 0)):
        told.do(cmd.ReportStation(told.now, cmd.PROGRAM, "hatch", cmd.Role.INSIDE, link))
        told.wait(told.now + wait_ms)
    told.do(cmd.TakeLead(told.now, OFFICER, "post", 2, "It went dark."))
    tale = tell(told.close())
    assert [("station hatch", 20_000)] == [(row.part, row.span.length_ms) for row in tale.parts]
    assert [("Lead to post", "It went dark.")] == [(row.what, row.reason) for row in tale.orders]


def test_an_endless_record_is_refused(records: Mapping[str, Path], tmp_path: Path) -> None:
    """It would not fit into memory: refused before it is read."""
    path = tmp_path / "endless.jsonl"
    path.write_bytes(records["opened"].read_bytes())
    with path.open("r+b") as handle:
        handle.truncate(300_000_000)
    with pytest.raises(JournalError, match="never so long"):
        tell(path)
