"""The scripts of the recordings, typed instead of spoken: each leads its scenario to the end, as it is scored."""

from pathlib import Path

import numpy as np
import pytest

from assistant.drill.scenarios import shipped
from assistant.hearing.blocks import Samples
from audio_fixtures.scripts import Crew, Line, Script, read_script, recordings
from audio_fixtures.timing import Performance
from protocol.phrases import interpret
from protocol.score import Tally
from tests.drill.independent import opinion
from tests.drill.rig import WHO, Rig

SCRIPTS = Path(__file__).parents[2] / "audio_fixtures" / "scenarios"
PROMPT_S = 4.0
"""A prompt and the moment after it, about."""
RATE = 16_000


class TypedTake:
    """A take without sound: words are taken as soon as they are said."""

    def __init__(self, script: Script) -> None:
        self.rig = Rig(script.scenario)
        self.crew = Crew(script)
        self.rig.session.react_with(self.crew.react)

    @property
    def now_s(self) -> float:
        """The drill's clock."""
        return self.rig.now_ms / 1000

    @property
    def closed(self) -> bool:
        """Whether the drill is over."""
        return self.rig.state.closed

    @property
    def reads_back(self) -> bool:
        """Whether something waits to be affirmed."""
        return self.rig.state.pending is not None

    def takes(self, words: str) -> bool:
        """Whether words mean something now."""
        return interpret(self.rig.loaded.book, self.rig.state, words, self.rig.now_ms, WHO) is not None

    def wait(self) -> None:
        """A prompt's length."""
        self.rig.wait(PROMPT_S)

    def linger(self, seconds: float) -> None:
        """So long."""
        self.rig.wait(seconds)

    def say(self, speech: Samples, words: str) -> bool:
        """Say words."""
        self.rig.wait(len(speech) / RATE)
        return self.rig.session.say(words, self.rig.now_ms, WHO) is not None


def spoken(line: Line, _speed: float) -> Samples:
    """A second and a half of nothing."""
    assert line.text
    return np.zeros(3 * RATE // 2, np.int16)


def test_every_scenario_has_a_script_and_the_rehearsal_too() -> None:
    """What the one command renders is everything that is shipped."""
    assert ["drill", *shipped()] == [one.name for one in recordings()]


@pytest.mark.parametrize("name", shipped())
def test_a_script_leads_its_scenario_to_the_end(name: str) -> None:
    """Every line means something when it is said, the drill ends, and both ways of scoring it agree."""
    take = TypedTake(read_script(SCRIPTS / f"{name}.toml"))
    timed = Performance(take, spoken).of(read_script(SCRIPTS / f"{name}.toml"))  # type: ignore[arg-type]
    take.linger(3)
    assert take.closed
    lines = [{"text": line.text, "phrase": line.phrase, "end_s": line.end_s} for line in timed]
    assert len(timed) == len({line.phrase for line in timed}), "nothing is said twice"
    expected, tally = opinion(name, lines), Tally(take.rig.loaded.book.procedure)
    for record in take.rig.memory.records:
        tally.take(record.events)
        tally.hear(record.command)
    found = tally.score()
    assert (expected.steps, expected.canisters, expected.asked, expected.affirmed, expected.negated) == (
        found.steps_confirmed, found.canisters, found.read_backs.asked, found.read_backs.affirmed, found.read_backs.negated
    )  # fmt: skip
    assert expected.refused == [row.step for row in found.refused]
    assert expected.order_faults == [row.what for row in found.order_faults]
    stages = {row.stage: row.spent_ms / 1000 for row in found.stages if row.spent_ms}
    assert stages == pytest.approx({stage: spent for stage, spent in expected.stages.items() if spent}, abs=0.3)
    assert [age for _step, age in expected.ages] == pytest.approx(
        [(row.oldest_ms or 0) / 1000 for row in found.air_ages], abs=0.05
    )
    took = {row.inject: None if row.took_ms is None else row.took_ms / 1000 for row in found.injects}
    for inject, expected_s in expected.injects.items():
        assert expected_s == pytest.approx(took[inject], abs=0.3)
