"""Sentences that are spoken: short, two or three items, numbers as a person can use them."""

from collections.abc import Sequence

from protocol.air import Gas, Reading, Verdict, latest, required_gases, unread, verdict_at, worst
from protocol.balance import time_left_sentence
from protocol.errors import EstimateError
from protocol.lines import spoken
from protocol.numbers import count_words, figure_words
from protocol.person_lines import Language, line_for
from protocol.procedure import Step, by_way_of
from protocol.remaining import canisters_sentence, grain_sentence
from protocol.scene import Scene, minutes_ms
from protocol.state import Rescuer
from protocol.timers import TimerRow, running
from protocol.told import GRAIN, TIME_LEFT, Told

PLACES = frozenset({"panels", "rescuers", "n", "inside", "grain"})
"""Places that a prompt may hold in braces."""
READ_NOT_SAFE = "That is what was read, not that the air is safe"


def minutes_words(duration_ms: int) -> str:
    """A length of time: "less than a minute", "twelve minutes", "one hour five minutes"."""
    minutes = duration_ms // 60_000
    if minutes < 1:
        return "less than a minute"
    hours, rest = divmod(minutes, 60)
    parts = []
    if hours:
        parts.append(f"{count_words(hours)} hour{'s' if hours > 1 else ''}")
    if rest:
        parts.append(f"{count_words(rest)} minute{'s' if rest > 1 else ''}")
    return " ".join(parts)


def prompt(scene: Scene, step: Step, side: str) -> str:
    """What a side hears when a step begins: the action, then the words that confirm it."""
    text = step.inside if side == "inside" else step.outside
    if text is None:
        return ""
    body = _sentence(fill(scene, text))
    if side not in {step.confirmed_by, "both"} and step.confirmed_by != "either":
        return body
    return f"{body} {how_to_confirm(scene, step)}".strip()


def how_to_confirm(scene: Scene, step: Step) -> str:
    """The words to say for a step."""
    if step.answers:
        phrases = [answer.say[0] for answer in step.answers]
        if len(phrases) > 3:
            return "Answer, or say, read the choices."
        return f"Say, {', or, '.join(phrases)}."
    if not step.say:
        return ""
    return f"Say, {fill_number(step.say[0], next_repeat(scene))}."


def next_repeat(scene: Scene) -> int:
    """The number that a repeated step waits for."""
    done = scene.state.repeats
    return next(number for number in range(1, len(done) + 2) if number not in done)


def fill_number(phrase: str, number: int) -> str:
    """A phrase with its number: "panel {n} set", 2 -> "panel two set"."""
    return phrase.replace("{n}", count_words(number))


def fill(scene: Scene, text: str) -> str:
    """A prompt with its places filled: {panels}, {rescuers}, {n}, {inside}, {grain}."""
    if "{" not in text:
        return text
    return text.format(
        panels=count_words(scene.house.panels),
        rescuers=count_words(scene.house.rescuers),
        n=count_words(next_repeat(scene)),
        inside=count_words(len(scene.state.inside)),
        grain=grain_answer(scene).text if "{grain}" in text else "",
    )


def estimates_in(scene: Scene, step: Step) -> tuple[str, ...]:
    """The estimates that a step's prompt speaks."""
    asks = "{grain}" in f"{step.inside} {step.outside}"
    return grain_answer(scene).estimates if asks else ()


def reading_words(gas: Gas, value: str, place: str) -> str:
    """A reading as it is read back."""
    return f"{gas.spoken} {figure_words(value)} at the {place}"


def bad_air_order(reading: Reading) -> tuple[str, str]:
    """The order first, the explanation second."""
    limit = worst(reading.gas, reading.value)
    name = limit.name if limit else "out of limits"
    value = format(reading.value, "f")
    return (
        "All rescuers leave the bin now. All rescuers leave the bin now.",
        f"{_capital(reading_words(reading.gas, value, reading.place))}: {name}.",
    )


def timer_words(row: TimerRow, key: str, lasted_ms: int, inside: int) -> str:
    """What a clock says when it runs out after so long with so many inside."""
    text = row.says.format(
        key=count_words(int(key)) if key.isdigit() else key,
        minutes=minutes_words(lasted_ms),
        inside=_capital(count_words(inside)),
    )
    return _capital(text)


def stale_words(stale: Sequence[Gas], max_age_ms: int) -> str:
    """One sentence for all gases whose readings went stale together."""
    names = stale[0].spoken if len(set(stale)) == 1 else f"{count_words(len(set(stale)))} gases"
    return f"Test the air again: {names} older than {minutes_words(max_age_ms)}."


def time_answer(scene: Scene) -> str:
    """Time since the first call, and since the person was last checked."""
    text = f"{minutes_words(scene.at_ms)} since the first call."
    check = running(scene.state, "person_check")
    if check:
        text += f" Person last checked {minutes_words(scene.at_ms - check.started_ms)} ago."
    return _capital(text)


def air_answer(scene: Scene) -> str:
    """What was read and when, the worst first, and what was not read. Never that the air is safe."""
    max_age = minutes_ms(scene.house.air_max_age_min)
    newest = {gas: latest(scene.state.readings, gas) for gas in required_gases(scene.state.fact("fumigated"))}
    verdicts = {gas: verdict_at(reading, scene.at_ms, max_age) for gas, reading in newest.items()}
    parts: list[str] = []
    for verdict, words in ((Verdict.BAD, "is bad"), (Verdict.STALE, "is too old"), (Verdict.CAUTION, "is over advice")):
        parts.extend(f"{gas.spoken} {words}" for gas, found in verdicts.items() if found is verdict)
    good = [reading for gas, reading in newest.items() if reading and verdicts[gas] is Verdict.GOOD]
    if good:
        oldest = scene.at_ms - min(reading.at_ms for reading in good)
        parts.append(f"{count_words(len(good))} within limits, oldest {_ago(oldest)}")
    missing = unread(scene.state.readings)
    if missing:
        parts.append(f"Not read: {', '.join(gas.spoken for gas in missing)}")
    return ". ".join(_capital(part) for part in parts) + f". {READ_NOT_SAFE}."


def unread_words(scene: Scene, place: str) -> str:
    """Gases that nobody read at a place: an oxygen reading says nothing about them."""
    missing = [gas.spoken for gas in Gas if latest(scene.state.readings, gas, place) is None]
    return f"Not read: {', '.join(missing)}." if missing else ""


def crew_answer(scene: Scene) -> str:
    """Who is inside, for how long and, once lines are recorded, on which line with which tenders."""
    inside = scene.state.inside
    if not inside:
        return "Nobody inside."
    used = any(one.line or one.tenders for one in inside)
    listed = [f"{_rescuer_words(scene, one)}{_line_words(one) if used else ''}" for one in inside]
    return f"{_capital(count_words(len(inside)))} inside: {'; '.join(listed)}."


def _rescuer_words(scene: Scene, one: Rescuer) -> str:
    return f"rescuer {count_words(one.slot)}, {minutes_words(scene.at_ms - one.entered_ms)}"


def _line_words(one: Rescuer) -> str:
    return f", {spoken(one.line, one.tenders) or 'no line recorded'}"


def grain_answer(scene: Scene) -> Told:
    """How much grain is left inside the ring, and for how long, with ranges, or why that cannot be said."""
    try:
        grain, time_left = grain_sentence(scene), time_left_sentence(scene)
    except EstimateError as error:
        return Told(f"{error} {leak_standing(scene)}".strip())
    said = filter(None, (grain, time_left, leak_standing(scene)))
    return Told(" ".join(said), (GRAIN, TIME_LEFT) if time_left else (GRAIN,))


def leak_standing(scene: Scene) -> str:
    """That a leak was warned of and is not closed, and since when; otherwise empty."""
    if scene.state.fact("leak") != "warned":
        return ""
    since = minutes_words(scene.at_ms - dict(scene.state.fact_times_ms)["leak"])
    return f"Leak warned of {since} ago, not closed."


def level_answer(scene: Scene) -> Told:
    """A level read back, with the canisters still to come."""
    try:
        return Told(f"Grain at {scene.state.level}. {canisters_sentence(scene)}", (GRAIN,))
    except EstimateError as error:
        return Told.why_not(error)


def person_words(scene: Scene, language: Language) -> str:
    """What is said to the person now, in one of the two languages."""
    if scene.state.fact("person") == "free":
        return "The person is free. Speak to the person yourself."
    return line_for(scene.step.stage).text(language)


def next_answer(scene: Scene) -> str:
    """The step after this one."""
    following = by_way_of(scene.step, scene.step.next or "", scene.state.fact)
    if scene.step.final or not following or following.startswith("@"):
        return "Nothing follows this step."
    return f"Next: {scene.book.procedure.step(following).title}."


def caution_answer(scene: Scene) -> str:
    """The caution of the current step, and whose word comes first."""
    return scene.step.caution or "No caution is written for this step. The commander decides."


def choices_answer(scene: Scene) -> str:
    """Every phrase that the current step takes."""
    step = scene.step
    if not step.answers:
        return how_to_confirm(scene, step)
    return f"Say one of: {'; '.join(answer.say[0] for answer in step.answers)}."


def acknowledgement(step: Step, number: int | None = None) -> str:
    """Naming back what was confirmed."""
    if number is not None and step.say:
        return f"{_capital(fill_number(step.say[0], number))}."
    return f"{_capital(step.title)}, confirmed."


def _ago(duration_ms: int) -> str:
    return f"{minutes_words(duration_ms)} ago"


def _sentence(text: str) -> str:
    return text if text.endswith((".", "?", "!")) else f"{text}."


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
