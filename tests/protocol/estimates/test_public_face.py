"""The public face: everything exported, every estimate whole and speakable in both units."""

import pytest

from protocol import estimates
from protocol.estimates import (
    AUGER_RATES_M3_S,
    GRAINS,
    UNKNOWN_PERSON,
    CrewLog,
    Criterion,
    Estimate,
    Exposure,
    GrainName,
    Hole,
    Job,
    LevelReading,
    Mark,
    Ring,
    Span,
)
from protocol.units import FOOT_M, System

RING = Ring.of(4, 2 * FOOT_M)
CORN = GRAINS[GrainName.CORN]
JOB = Job(UNKNOWN_PERSON, RING)
LOG = CrewLog(0.0, (120.0, 300.0), (LevelReading.of_mark(Mark.CHEST, 0.0, UNKNOWN_PERSON),))


def _every_estimate() -> list[Estimate]:
    left = estimates.grain_remaining(UNKNOWN_PERSON, RING, CORN, Mark.CHEST)
    reach = estimates.ring_reach(UNKNOWN_PERSON, RING)
    refill = estimates.refill_when_out(UNKNOWN_PERSON, RING, CORN, 1, Mark.KNEES, Span.about(0.6, 0.1))
    noise = estimates.noise_left((Exposure(92.0, 600.0),), 97.0)
    hole = Hole.semicircle(0.9)
    return [
        left.volume,
        left.mass,
        left.canisters,
        reach.below_knees,
        reach.gap_at_feet,
        refill.volume,
        refill.rise,
        noise.osha,
        noise.niosh,
        estimates.ring_area(RING),
        estimates.body_displacement(UNKNOWN_PERSON, Mark.CHEST),
        estimates.remaining_time(JOB, LOG, 310.0),
        estimates.removal_rate(JOB, LOG, 310.0),
        estimates.pull_force(Mark.CHEST, UNKNOWN_PERSON),
        estimates.chest_at_rest(),
        estimates.chest_pushing(),
        estimates.panel_load(CORN, 0.6, Span.about(1.0, 0.1)),
        estimates.panel_peak(CORN, Span.about(1.0, 0.1)),
        estimates.bin_wall_pressure(CORN, 9.0, Span.about(5.0, 0.5)),
        estimates.time_to_be_covered(UNKNOWN_PERSON, AUGER_RATES_M3_S["8 in"]),
        estimates.wall_flow(hole, CORN),
        estimates.time_to_lower(9.0, Span.about(2.0, 0.5), hole, 4, CORN),
        estimates.cut_plan(9.0, 4).spacing,
        estimates.grain_in_bin(CORN, Span.about(9.0, 0.1), Span.about(5.0, 0.5), peaked=True),
        estimates.purge_time(Span.about(60.0, 5.0), Span.about(0.1, 0.01), 500, 50),
        estimates.noise_dose((Exposure(97.0, 600.0),), Criterion.NIOSH),
        estimates.slack_allowed(UNKNOWN_PERSON, Span.about(5.0, 0.2), Span.about(1.0, 0.2)).allowed,
        estimates.co2_behind_oxygen(19.5),
    ]


@pytest.mark.parametrize("units", ["us", "metric"])
def test_every_estimate_is_whole_and_can_be_spoken(units: System) -> None:
    """Each has a range around its value, a method, a source, and a sentence of at most 45 words without figures."""
    for estimate in _every_estimate():
        assert estimate.low <= estimate.value <= estimate.high
        assert estimate.low < estimate.high, estimate.says
        assert estimate.method
        assert estimate.source
        spoken = estimate.spoken(units)
        assert spoken[0].isupper()
        assert spoken.endswith(".")
        assert not any(character.isdigit() for character in spoken), spoken
        assert len(spoken.split()) <= 45, spoken
        assert any(character.isdigit() for character in estimate.shown(units))


def test_everything_named_is_there() -> None:
    """The list of exports is sorted, without doubles, and each name exists and is documented."""
    assert sorted(set(estimates.__all__)) == sorted(estimates.__all__)
    for name in estimates.__all__:
        assert getattr(estimates, name) is not None


def test_spoken_words_are_few() -> None:
    """The main sentence a rescuer hears stays under 25 words."""
    left = estimates.grain_remaining(UNKNOWN_PERSON, RING, CORN, Mark.CHEST)
    assert len(left.spoken().split()) <= 25
