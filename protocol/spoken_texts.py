"""Every sentence that is known before a run, so that it can be made ready to be spoken."""

from collections.abc import Iterator

from protocol.air import Gas
from protocol.headset import SPOKEN
from protocol.house import House
from protocol.person_lines import every_line
from protocol.procedure import Step
from protocol.rules.headsets import ASK_FOR_CHECK
from protocol.rules.running import AUDIO_KEPT
from protocol.scene import Book, Scene, minutes_ms
from protocol.state import State
from protocol.timers import TIMERS, TimerRow
from protocol.wording import acknowledgement, how_to_confirm, prompt, stale_words, timer_words

LONGEST_MS = 6 * 3_600_000
"""Clocks that repeat have their sentences ready for so long an incident; later ones are made when they are due."""
MOST_REPEATS = 40


def fixed_texts(book: Book) -> tuple[str, ...]:
    """The caution, prompts without figures, acknowledgements, alarms, what clocks say, the lines for the person."""
    texts = [book.procedure.heading.caution, *_always(), *alarm_texts(book)]
    for step in book.procedure.steps:
        texts.extend(_prompts(book, step))
        texts.extend(_acknowledgements(book.house, step))
    texts.extend(_clocks(book.house))
    texts.extend(sorted(every_line("en") | every_line("es")))
    return tuple(dict.fromkeys(text for text in texts if text))


def alarm_texts(book: Book) -> Iterator[str]:
    """What cuts into everything else, so that it is kept at hand."""
    yield "All rescuers leave the bin now. All rescuers leave the bin now."
    yield from (f"{row.first} If that was wrong, say, disregard emergency." for row in book.procedure.interruptions)


def _always() -> Iterator[str]:
    yield "Disregarded. Say it again."
    yield "Not affirmed. Nothing was changed."
    yield "Hold all work. Stand still."
    yield "Work goes on."
    yield "Back one step."
    yield "Person answering."
    yield ASK_FOR_CHECK
    yield from SPOKEN.values()
    yield AUDIO_KEPT


def _clocks(house: House) -> Iterator[str]:
    for row in TIMERS:
        if row.says:
            yield from (timer_words(row, key, lasted, inside) for key in _keys(row, house)
                        for lasted in _lengths(row, house) for inside in range(house.rescuers + 1))  # fmt: skip
    age = minutes_ms(house.air_max_age_min)
    yield from (stale_words((gas,), age) for gas in Gas)
    yield from (stale_words(tuple(Gas)[:count], age) for count in range(2, len(Gas) + 1))


def _keys(row: TimerRow, house: House) -> Iterator[str]:
    yield from (str(slot) for slot in range(1, house.rescuers + 1)) if "{key}" in row.says else ("",)


def _lengths(row: TimerRow, house: House) -> Iterator[int]:
    interval = row.interval_ms(house)
    repeats = min(MOST_REPEATS, LONGEST_MS // interval) if row.repeats and "{minutes}" in row.says else 1
    yield from (interval * number for number in range(1, max(1, repeats) + 1))


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
