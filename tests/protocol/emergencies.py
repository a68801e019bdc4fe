"""What a crew does to get through the open emergencies, for several tests."""

from protocol import commands as cmd
from protocol.air import Gas, required_gases
from tests.drills import AFFIRM
from tests.story import Story, origin_of, sentences


def empty_the_bin(story: Story) -> None:
    """Everyone inside is counted out."""
    for one in story.state.inside:
        story.do(cmd.MoveRescuer(story.now, origin_of(cmd.Role.BOTH), one.slot, inside=False))


def read_all(story: Story) -> None:
    """Every gas that must be read is read well, at the hatch and at the person."""
    for place in ("hatch", "person"):
        for gas in required_gases(story.state.fact("fumigated")):
            story.read(gas, "20.9" if gas is Gas.OXYGEN else "0", place)


def work_through(story: Story) -> None:
    """Say what each step of the open emergencies asks, until none is open."""
    while story.state.emergencies:
        step = story.scene().step
        confirmed = story.state.steps_confirmed
        story.say(step.say[0])
        if step.critical:
            story.say(AFFIRM)
        assert confirmed < story.state.steps_confirmed, sentences(story.events[-2:])
