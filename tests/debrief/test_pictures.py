"""The plots: what is drawn where, and that both SVG and PDF can write it."""

from collections.abc import Mapping
from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest

from assistant.debrief.air_plot import air_plot, uncovered
from assistant.debrief.air_table import air_table, rounds
from assistant.debrief.axes import LEFT, RIGHT, Scale, TimeAxis
from assistant.debrief.grain_plot import level_plot, reached_ms, time_plot
from assistant.debrief.picture import Area, Picture, Stroke, Words, box, fitting, hatching, mark
from assistant.debrief.svg import svg
from assistant.debrief.tale import Tale
from assistant.debrief.timeline import stage_numbers, timeline
from protocol.air import Gas
from tests.debrief.records import MINUTE_MS


def texts(picture: Picture | None) -> list[str]:
    """Every word of a picture."""
    assert picture is not None
    return [shape.text for shape in picture.shapes if isinstance(shape, Words)]


@pytest.mark.parametrize("name", ["drill", "troubled", "empty", "opened", "torn", "altered"])
def test_every_picture_stays_on_its_paper(name: str, tales: Mapping[str, Tale]) -> None:
    """No shape of any record leaves the picture, and each is well-formed SVG in black, white and grey."""
    tale = tales[name]
    for picture in (timeline(tale), air_plot(tale), level_plot(tale), time_plot(tale)):
        if picture is None:
            continue
        for shape in picture.shapes:
            points = [(shape.x, shape.y)] if isinstance(shape, Words) else shape.points
            assert all(-1 <= x <= picture.width + 1 and -1 <= y <= picture.height + 1 for x, y in points)
        root = ET.fromstring(svg(picture))
        for element in root.iter():
            for key in ("fill", "stroke"):
                colour = element.get(key, "none")
                assert colour == "none" or colour[1:3] == colour[3:5] == colour[5:7]


def test_the_timeline_shows_the_trouble(tales: Mapping[str, Tale]) -> None:
    """A lost part has a row of its own, and people who are not out are called so."""
    words = texts(timeline(tales["troubled"]))
    assert "Program part lost" in words
    assert 2 == words.count("not ended")
    assert "Rescuer 2 inside" in words
    assert "nobody was counted in" in texts(timeline(tales["empty"]))
    assert 2 == texts(timeline(tales["empty"])).count("never read")


def test_stages_are_numbered_as_they_came(tales: Mapping[str, Tale]) -> None:
    """A stage that is entered twice keeps its number."""
    numbers = stage_numbers(tales["drill"])
    assert list(range(1, len(numbers) + 1)) == list(numbers.values())
    assert "size_up" == next(iter(numbers))


def test_air_shows_limits_and_when_nothing_counted(tales: Mapping[str, Tale]) -> None:
    """Limits stand beside the readings; a stretch without a reading young enough is a stretch of its own."""
    tale = tales["troubled"]
    words = texts(air_plot(tale))
    assert "leave under 19.5" in words
    assert "caution over 35" in words
    rows = [row for row in tale.air if row.gas is Gas.OXYGEN]
    last_good, bad = rows[-2], rows[-1]
    assert [(last_good.at_ms + 10 * MINUTE_MS, bad.at_ms)] == uncovered(tale, rows)
    assert air_plot(tales["empty"]) is None


def test_a_required_gas_that_nobody_read_is_shown_as_never_read(tales: Mapping[str, Tale]) -> None:
    """A panel without a reading says so."""
    tale = replace(tales["drill"], needed=(*tales["drill"].needed, Gas.PHOSPHINE))
    assert "never read" in texts(air_plot(tale))


def test_readings_fall_into_rounds(tales: Mapping[str, Tale]) -> None:
    """Four gases at one place are one row; another place, a repeated gas or a later time begins another."""
    assert [4, 4, 4] == [len(one) for one in rounds(tales["drill"].air)]
    table = air_table(tales["troubled"])
    assert "18.5 BAD: oxygen too low" in table.rows[-1]
    assert "\N{EN DASH}" in table.rows[-1]
    assert len(table.columns) == len(table.parts) == len(table.rows[0])


def test_grain_shows_called_and_predicted(tales: Mapping[str, Tale]) -> None:
    """Each mark called is a line of the plot, the time axis covers the work only, and the knees are found."""
    tale = tales["drill"]
    assert {"knees", "chest"} <= set(texts(level_plot(tale)))
    knees = next(row for row in tale.levels if row.mark == "knees")
    assert knees.at_ms == reached_ms(tale, "knees")
    assert time_plot(tale) is not None
    assert level_plot(tales["troubled"]) is None
    assert time_plot(tales["troubled"]) is None


def test_scales_keep_to_the_plot() -> None:
    """Values outside are drawn at the edge; an empty record still has an axis."""
    scale = Scale(0, 10, bottom=100, top=0)
    assert [100, 50, 0, 0, 100] == [scale.y(value) for value in (0, 5, 10, 99, -5)]
    assert LEFT == TimeAxis(0, None, None).x(0)
    assert RIGHT == TimeAxis(600_000, None, None).x(600_000)
    assert [0, 15_000, 30_000, 45_000, 60_000] == TimeAxis(0, None, None).ticks_ms()
    assert 13 >= len(TimeAxis(12 * 60 * MINUTE_MS, None, None).ticks_ms())
    assert 12 * 60 * MINUTE_MS in TimeAxis(12 * 60 * MINUTE_MS, None, None).ticks_ms()


@pytest.mark.parametrize("hatch", ["rising", "falling", "crossed", "upright"])
def test_hatching_stays_inside_its_box(hatch: str) -> None:
    """Every line of a hatching lies inside, whatever the shape of the box."""
    for width, height in ((40.0, 15.0), (3.0, 15.0), (15.0, 80.0)):
        for shape in hatching(100, 50, width, height, hatch):  # type: ignore[arg-type]
            assert isinstance(shape, Stroke)
            assert all(100 <= x <= 100 + width and 50 <= y <= 50 + height for x, y in shape.points)


def test_marks_and_words() -> None:
    """Every mark draws something; a text that does not fit is cut or left out."""
    for kind in ("circle", "ring", "square", "triangle", "diamond", "cross", "bar"):
        assert list(mark(kind, 5, 5))  # type: ignore[arg-type]
    assert any(isinstance(shape, Area) for shape in box(0, 0, 5, 5, "grey"))
    assert "Vacuum" == fitting("Vacuum", 10, 100)
    assert "Vac…" == fitting("Vacuuming out", 10, 24)
    assert "" == fitting("Vacuum", 10, 10)
