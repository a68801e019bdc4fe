"""Numbered updates: caught up by number, newest picture only, and honest about silence."""

import asyncio
import json
from collections.abc import AsyncIterator, Coroutine
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest

from assistant.board import BinShape
from assistant.board import hub as hub_module
from assistant.board.hub import MISSED_LINES, Hub
from assistant.board.past import Past
from assistant.board.view import View, view
from assistant.clock import ManualClock
from assistant.journal import Record
from protocol import commands as cmd
from protocol.scene import Scene
from tests.board.tellings import Told
from tests.books import shipped_book
from tests.drills import VISIBLE


def told(lines: int) -> tuple[list[Record], list[Any], Told]:
    """Records of a drill's first lines, and the state after each."""
    story = Told()
    records, states = [], []
    first = cmd.OpenIncident(0, cmd.PROGRAM, "drill", "tests")
    records.append(Record(1, 0, first, tuple(story.events)))
    states.append(story.state)
    for words in VISIBLE[:lines]:
        events = story.say(words)
        records.append(Record(len(records) + 1, story.now, story.commands[-1], events))
        states.append(story.state)
    return records, states, story


def run(work: Coroutine[Any, Any, None]) -> None:
    """Run to the end, in a thread of its own: a browser test before it may have left a loop in this one."""
    with ThreadPoolExecutor(1) as pool:
        pool.submit(asyncio.run, work).result()


async def frame(updates: AsyncIterator[bytes]) -> tuple[str, dict[str, Any]]:
    """The next event: its kind and its data."""
    raw = (await asyncio.wait_for(anext(updates), 5)).decode()
    fields = dict(line.split(": ", 1) for line in raw.strip().split("\n"))
    return fields["event"], json.loads(fields["data"])


async def picture(updates: AsyncIterator[bytes]) -> dict[str, Any]:
    """The next event that carries a view."""
    while True:
        kind, data = await frame(updates)
        if kind == "board":
            return data


def test_a_new_viewer_gets_the_picture_at_once_and_then_each_record() -> None:
    """The first event is the whole view; each record brings the next with its own number."""

    async def work() -> None:
        records, states, _story = told(6)
        hub = Hub(shipped_book(), ManualClock())
        beating = asyncio.create_task(hub.run())
        await asyncio.sleep(0)
        updates = hub.updates(0)
        assert 0 == (await picture(updates))["n"]
        for record, state in zip(records, states, strict=True):
            hub.take(record, state)
            data = await picture(updates)
            assert (record.n, record.n, state.step) == (data["n"], data["view"]["n"], data["view"]["board"]["step"]["id"])
        beating.cancel()

    run(work())


def test_a_viewer_that_was_away_gets_the_lines_it_missed_by_number() -> None:
    """After record 3 of 9 come exactly the lines of records 4 to 9, once."""

    async def work() -> None:
        records, _states, _story = told(8)
        hub = Hub(shipped_book(), ManualClock(), records)
        data = await picture(hub.updates(3))
        assert (9, 3) == (data["n"], data["after"])
        numbers = [line["n"] for line in data["missed"]]
        assert (4, 9) == (numbers[0], numbers[-1])
        assert sorted(numbers) == numbers

    run(work())


def test_what_was_missed_is_bounded_and_the_rest_is_counted() -> None:
    """A viewer that was away for long gets the last hundred lines and is told how many more there were."""

    async def work() -> None:
        records, _states, _story = told(80)
        hub = Hub(shipped_book(), ManualClock(), records)
        data = await picture(hub.updates(1))
        assert MISSED_LINES == len(data["missed"])
        assert data["missed_more"] > 0

    run(work())


def test_a_slow_viewer_gets_the_newest_picture_not_a_queue() -> None:
    """Five records arrive while a viewer looks away: it gets one update, the fifth."""

    async def work() -> None:
        records, states, _story = told(6)
        hub = Hub(shipped_book(), ManualClock())
        beating = asyncio.create_task(hub.run())
        await asyncio.sleep(0)
        updates = hub.updates(0)
        await picture(updates)
        for record, state in list(zip(records, states, strict=True))[:5]:
            hub.take(record, state)
        assert 5 == (await picture(updates))["n"]
        beating.cancel()

    run(work())


def test_a_record_from_another_thread_wakes_the_viewers() -> None:
    """The loop hands records in from its own thread; a waiting viewer has it without waiting for a beat."""

    async def work() -> None:
        records, states, _story = told(2)
        hub = Hub(shipped_book(), ManualClock())
        beating = asyncio.create_task(hub.run())
        await asyncio.sleep(0)
        updates = hub.updates(0)
        await picture(updates)
        waiting = asyncio.create_task(picture(updates))
        await asyncio.to_thread(hub.take, records[0], states[0])
        assert 1 == (await asyncio.wait_for(waiting, hub_module.BEAT_S * 0.9))["n"]
        beating.cancel()

    run(work())


def test_every_picture_of_the_same_record_is_the_same_bytes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Fifty viewers cost one view: it is made once for each record."""
    made = []

    def counted(scene: Scene, past: Past, shape: BinShape | None) -> View:
        made.append(scene.at_ms)
        return view(scene, past, shape)

    monkeypatch.setattr(hub_module, "view", counted)

    async def work() -> None:
        records, states, _story = told(3)
        hub = Hub(shipped_book(), ManualClock(), records)
        viewers = [hub.updates(4) for _ in range(50)]
        frames = {await anext(viewer) for viewer in viewers}
        assert (1, 1) == (len(frames), len(made))
        assert states

    run(work())


def test_a_program_that_has_stopped_answering_is_told_apart_from_a_quiet_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """While the loop looks in, silence is zero; when it does not, each beat says for how long."""
    monkeypatch.setattr(hub_module, "BEAT_S", 0.02)

    async def work() -> None:
        hub = Hub(shipped_book(), ManualClock())
        beating = asyncio.create_task(hub.run())
        updates = hub.updates(0)
        await picture(updates)
        quiet = []
        for _ in range(3):
            hub.polled()
            quiet.append((await frame(updates))[1]["quiet_s"])
        assert [0, 0, 0] == quiet
        monkeypatch.setattr(hub_module, "BEAT_S", 0.6)
        await asyncio.sleep(0.05)
        later = [(await frame(updates))[1]["quiet_s"] for _ in range(3)]
        assert later[-1] > later[0]
        beating.cancel()

    run(work())


def test_closing_lets_every_viewer_go() -> None:
    """A closed board ends its streams instead of leaving them open."""

    async def work() -> None:
        hub = Hub(shipped_book(), ManualClock())
        beating = asyncio.create_task(hub.run())
        await asyncio.sleep(0)
        updates = hub.updates(0)
        await picture(updates)
        hub.close()
        rest = [piece async for piece in updates]
        assert len(rest) <= 1
        beating.cancel()

    run(work())


def test_a_resumed_incident_shows_what_the_records_say() -> None:
    """Made from a history, the board stands at the same step with the same story."""
    records, states, story = told(40)
    hub = Hub(shipped_book(), ManualClock(story.now), records)
    assert (states[-1], story.past.lines) == (hub.scene().state, hub._now.past.lines)
