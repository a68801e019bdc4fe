"""What a scenario lets happen: in its time, once, and again after a rewind."""

import pytest

from assistant.drill.scenarios import shipped
from protocol import commands as cmd
from protocol import events as ev
from protocol.estimates.volume import FILL
from protocol.units import GALLON_M3
from tests.drill.rig import Rig

PANELS = ("panel one standing", "panel two standing", "panel three standing", "panel four standing")
TO_VACUUM = (*PANELS, "every joint is fastened", "the ring is driven down", "well below the kneecaps", "affirmative",
             "opening is plugged up", "vacuum hose is ready")  # fmt: skip
TRAINER = cmd.Origin("trainer", cmd.Role.BOTH, "keyboard")


@pytest.mark.parametrize("name", shipped())
def test_the_crew_hears_first_that_it_is_a_drill(name: str) -> None:
    """In every shipped scenario the first words that reach the crew are "This is a drill"."""
    assert Rig(name).events(ev.Said)[0].text.startswith("This is a drill. ")


@pytest.mark.parametrize("name", shipped())
def test_what_was_prepared_is_on_record_before_the_drill_begins(name: str) -> None:
    """The beginning of the drill stands after every prepared line, so that a score can tell them apart."""
    rig = Rig(name)
    assert 1 + len(rig.loaded.scenario.scenario.prepared) == rig.prepared
    assert "drill" == rig.state.kind


def test_an_inject_comes_so_long_after_what_starts_it() -> None:
    """Three seconds after the step is confirmed, once."""
    rig = Rig("bad_air")
    rig.say("kneeling by the person")
    rig.wait(2.5)
    assert [] == rig.injects()
    rig.wait(1)
    assert ["meter_alarm"] == rig.injects()
    rig.wait(60)
    assert ["meter_alarm"] == rig.injects()


def test_an_inject_comes_when_its_step_begins() -> None:
    """Entered, not confirmed: the second crew arrives while they wait for it."""
    rig = Rig("night_alone")
    rig.say("only one rescuer on scene", "help has been called", "machines are locked and tagged", "talking from the hatch")
    rig.wait(20)
    assert ["cold", "second_crew"] == rig.injects()


def test_a_drill_ends_when_its_scenario_is_worked_through() -> None:
    """The last step confirmed, the drill says that it is over, and the record is closed."""
    rig = Rig("night_alone")
    rig.say("unloading gear is off")
    rig.wait(5)
    assert not rig.state.closed
    rig = Rig("rescuer_in_trouble")
    rig.say("panel three standing", "panel four standing", "every joint is fastened")
    rig.wait(1)
    assert rig.state.closed
    assert ["the scenario is worked through"] == [event.why for event in rig.events(ev.DrillEnded)]


def test_nothing_happens_in_a_pause() -> None:
    """What was due waits until the drill goes on."""
    rig = Rig("bad_air")
    rig.say("kneeling by the person")
    rig.do(cmd.PauseDrill(0, TRAINER, paused=True))
    rig.now_ms += 10_000
    rig.poll()
    assert [] == rig.injects()
    rig.do(cmd.PauseDrill(0, TRAINER, paused=False))
    rig.wait(1)
    assert ["meter_alarm"] == rig.injects()


def test_what_the_trainer_gave_is_not_given_again() -> None:
    """Let happen by hand, an inject does not come by itself as well."""
    rig = Rig("bad_air")
    row = rig.director.injects["meter_alarm"]
    rig.do(cmd.GiveInject(0, TRAINER, row.id, row.to, row.say))
    rig.say("kneeling by the person")
    rig.wait(10)
    assert ["meter_alarm"] == rig.injects()


def test_after_a_rewind_it_happens_again() -> None:
    """Put back to before it, the drill brings it again, at the same distance from its step."""
    rig = Rig("bad_air")
    rig.say("kneeling by the person")
    rig.wait(10)
    rig.do(cmd.RewindDrill(0, TRAINER, "beside"))
    rig.wait(10)
    assert ["meter_alarm"] == rig.injects()
    rig.say("kneeling by the person")
    rig.wait(4)
    assert ["meter_alarm", "meter_alarm"] == rig.injects()


# ------------------------------------------------------------------------------------------------------------- grain


def test_drums_and_marks_come_as_the_grain_goes() -> None:
    """Twelve times as fast as in earnest a drum takes 15 s; the marks come in order, and the volume is the drums'."""
    rig = Rig("waist_deep")
    rig.say(*TO_VACUUM)
    rig.wait(0.5)
    assert "grain.waist" == rig.injects()[0]
    started = rig.now_ms
    while "drum.1" not in rig.injects():
        rig.wait(0.25)
    assert 15.0 == pytest.approx((rig.now_ms - started) / 1000, abs=1.5)
    for _ in range(6):
        rig.wait(20)
        if rig.director.simulation and rig.director.simulation.grain.drum_is_full:
            rig.say("canister is full")
    marks = [name for name in rig.injects() if name.startswith("grain.")]
    assert ["grain.waist", "grain.hips", "grain.knees"] == marks[:3]
    simulation = rig.director.simulation
    assert simulation is not None
    drum_m3 = 16 * GALLON_M3 * FILL.value
    assert simulation.grain.drums * drum_m3 == pytest.approx(simulation.grain.carried_m3)


def test_the_vacuum_waits_for_its_drum() -> None:
    """A full drum that nobody calls stops the work: nothing more comes out, and it is told once."""
    rig = Rig("waist_deep")
    rig.say(*TO_VACUUM)
    rig.wait(60)
    level = rig.director.simulation.grain.height_m if rig.director.simulation else 0
    rig.wait(60)
    assert rig.director.simulation
    assert level == rig.director.simulation.grain.height_m
    assert 1 == rig.injects().count("drum.1")


@pytest.mark.parametrize("stop", ["hold all work", "the ring is leaking"])
def test_the_vacuum_stops_when_the_work_does(stop: str) -> None:
    """Held or in an emergency, no grain comes out."""
    rig = Rig("waist_deep")
    rig.say(*TO_VACUUM)
    rig.wait(5)
    rig.say(stop)
    assert rig.director.simulation
    inside = rig.director.simulation.grain.inside_m3
    rig.wait(60)
    assert inside == rig.director.simulation.grain.inside_m3


def test_a_leak_runs_until_it_is_closed() -> None:
    """From the first drum on grain comes in from outside; once the corner is closed it stops."""
    rig = Rig("chest_leak")
    rig.say("vacuum hose is ready")
    rig.wait(20)
    rig.say("canister is full")
    assert rig.director.simulation
    outside = rig.director.simulation.grain.outside_m3
    rig.wait(10)
    assert rig.director.simulation.grain.outside_m3 < outside
    rig.say("the ring is leaking", "leaking corner closed")
    rig.wait(0.5)
    closed = rig.director.simulation.grain.outside_m3
    rig.wait(30)
    assert closed == rig.director.simulation.grain.outside_m3


def test_a_rewind_brings_the_grain_back() -> None:
    """The surface stands where it stood when the step was entered."""
    rig = Rig("waist_deep")
    rig.say(*TO_VACUUM)
    rig.wait(0.25)
    assert rig.director.simulation
    before = rig.director.simulation.grain.inside_m3
    rig.wait(12)
    assert rig.director.simulation.grain.inside_m3 < before
    rig.do(cmd.RewindDrill(0, TRAINER, "chest_clear"))
    assert before == pytest.approx(rig.director.simulation.grain.inside_m3, rel=0.01)


def test_pace_is_the_trainers_choice() -> None:
    """Asked for in earnest, a drum takes its three minutes."""
    rig = Rig("waist_deep", pace=1)
    rig.say(*TO_VACUUM)
    rig.wait(170)
    assert "drum.1" not in rig.injects()
    rig.wait(20)
    assert "drum.1" in rig.injects()
