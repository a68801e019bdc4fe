"""How much grain is left inside the ring: the state of the incident put into the estimates."""

from protocol.errors import EstimateError
from protocol.estimates.body import Mark, Person
from protocol.estimates.grain import Grain, grain_named
from protocol.estimates.result import Span
from protocol.estimates.ring import Ring
from protocol.estimates.volume import GrainRemaining, grain_remaining
from protocol.house import House
from protocol.scene import Scene


def person_of(house: House) -> Person:
    """The person as far as anybody knows: a range of height and mass."""
    return Person(Span.between(*house.person_height_m), Span.between(*house.person_mass_kg))


def ring_of(house: House) -> Ring:
    """The department's ring of equal panels."""
    return Ring((house.panel_width_m,) * house.panels, house.panel_length_m)


def grain_of(scene: Scene) -> Grain:
    """The grain that was named, or the row that spans them all."""
    name = scene.state.fact("grain")
    return grain_named("rough rice" if name == "rice" else name)


def left_to_take_out(scene: Scene) -> GrainRemaining:
    """Grain between the level last called and the knees (the feet when the knees are clear).

    Raises:
        EstimateError: when no level has been called yet.
    """
    level = scene.state.level
    if level is None:
        raise EstimateError("No grain level has been called. Say, grain at, and the mark.")
    goal = Mark.FEET if level == Mark.KNEES.value else Mark.KNEES
    house = scene.house
    return grain_remaining(person_of(house), ring_of(house), grain_of(scene), Mark(level), goal, house.canister_gal)


def grain_sentence(scene: Scene) -> str:
    """One spoken sentence with a range.

    Raises:
        EstimateError: when no level has been called yet.
    """
    return left_to_take_out(scene).spoken(scene.house.units)


def canisters_sentence(scene: Scene) -> str:
    """The short form: canisters still to come out, as a range.

    Raises:
        EstimateError: when no level has been called yet.
    """
    left = left_to_take_out(scene)
    goal = "feet" if scene.state.level == Mark.KNEES.value else "knees"
    return f"{left.canisters_spoken()} to the {goal}."
