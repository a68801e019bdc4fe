"""Every sentence that is known before a run, so that it can be made ready to be spoken."""

from collections.abc import Iterator

from protocol.house import House
from protocol.procedure import Step
from protocol.scene import Book, Scene
from protocol.state import State
from protocol.wording import acknowledgement, how_to_confirm, prompt


def fixed_texts(book: Book) -> tuple[str, ...]:
    """The caution, every prompt without figures, every acknowledgement, every emergency's first sentence."""
    texts = [book.procedure.heading.caution, *_always()]
    for step in book.procedure.steps:
        texts.extend(_prompts(book, step))
        texts.extend(_acknowledgements(book.house, step))
    texts.extend(f"{row.first} If that was wrong, say, disregard emergency." for row in book.procedure.interruptions)
    return tuple(dict.fromkeys(text for text in texts if text))


def _always() -> Iterator[str]:
    yield "Disregarded. Say it again."
    yield "Not affirmed. Nothing was changed."
    yield "Hold all work. Stand still."
    yield "Work goes on."
    yield "Back one step."
    yield "Person answering."
    yield "Loud and clear."
    yield "All rescuers leave the bin now. All rescuers leave the bin now."


def _prompts(book: Book, step: Step) -> Iterator[str]:
    for number in range(book.house.panels if step.repeat else 1):
        state = State(opened=True, step=step.id, repeats=tuple(range(1, number + 1)))
        scene = Scene(book, state, 0)
        for side, text in (("inside", step.inside), ("outside", step.outside)):
            if text and "{grain}" not in text and "{inside}" not in text:
                yield prompt(scene, step, side)
        if step.repeat:
            yield how_to_confirm(scene, step)


def _acknowledgements(house: House, step: Step) -> Iterator[str]:
    if step.final:
        return
    for answer in step.answers:
        named = f"{answer.say[0][:1].upper()}{answer.say[0][1:]}."
        yield f"{named} {answer.direction}" if answer.direction else named
        if step.critical:
            yield f"I heard, {answer.say[0]}. Say, affirmative, or, negative."
    if step.say and step.critical:
        yield f"I heard, {step.say[0]}. Say, affirmative, or, negative."
    for number in range(1, house.panels + 1) if step.repeat else [None]:
        yield acknowledgement(step, number)
