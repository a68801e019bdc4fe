"""The part of `check` that says which phrases in force together sound alike, and refuses what could advance a step."""

from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from assistant.errors import ModelError, ProcedureError
from assistant.hearing.confusions import has_confusions, net_digest, read_confusions
from assistant.hearing.near_phrases import FAR, LIMIT, Risk, Rivals, near_numbers, rivals_of
from assistant.hearing.recogniser import shipped_model
from assistant.hearing.sound_distance import SoundDistance
from assistant.hearing.whole_phrases import has_lexicon, read_lexicon
from assistant.library import Source
from protocol.procedure import line_of
from protocol.scene import Book

SHOWN = 5
"""Nearest pairs of each kind that are shown; all that are too near, up to MOST_SHOWN."""
MOST_SHOWN = 12
MORE = {
    Risk.ADVANCES: "one of them confirms a step",
    Risk.REPEATED: "the second confirms the step before, and may be said once more",
    Risk.COUNTS: "the same words with another number",
    Risk.OTHER: "neither confirms a step",
}


def check_nearness(book: Book, source: Source, model: Path | None, card: Path | None) -> None:
    """Say which phrases are nearest, warn of near ones, refuse those that could advance a step.

    Args:
        book: the procedure with the house rules.
        source: its texts.
        model: folder of the speech model; the shipped one when None.
        card: the site card, for the message.

    Raises:
        ProcedureError: with file, line and the two phrases.
        ModelError: if there is no such model, or it does not know a word.
    """
    folder = model or shipped_model()
    if not folder.is_dir():
        raise ModelError(f"There is no speech model at {folder}. Give another with --model.")
    if not has_lexicon(folder) or not has_confusions(folder):
        print(f"How near the phrases sound was not measured: {folder} does not say which sounds it mistakes.")
        return
    table = read_confusions(folder)
    measure = SoundDistance(table.costs(), read_lexicon(folder))
    rivals = rivals_of(book, measure)
    print("\n".join(_lines(rivals)))
    print("\n".join(_warnings(rivals, measure)))
    if table.net != net_digest(folder):
        print("The confusions were measured with another net than the model's: measure them again.")
    refused = [pair for pair in rivals if pair.refused]
    if refused:
        raise ProcedureError(_refusal(refused, book, source, card))


def _lines(rivals: list[Rivals]) -> Iterator[str]:
    yield f"Nearest phrases in force together, in mistaken sounds ({LIMIT:g} are asked where one confirms a step):"
    every = max((len(pair.steps) for pair in rivals), default=0)
    for risk in Risk:
        of_kind = [pair for pair in rivals if pair.risk is risk and pair.distance <= FAR]
        listed = list({_numbers(pair): pair for pair in reversed(of_kind)}.values())[::-1]
        shown = listed[: min(MOST_SHOWN, max(SHOWN, sum(pair.too_near for pair in listed)))]
        yield f"  {MORE[risk]}:" if shown else f"  {MORE[risk]}: none within {FAR:g}"
        for pair in shown:
            near = ", too near" if pair.too_near else ""
            yield f"    {pair.distance:4.1f}  {pair.one} / {pair.other} ({_where(pair, every)}{near})"


def _numbers(pair: Rivals) -> tuple[str, ...]:
    """What tells pairs apart: the two numbers, where nothing else differs; "panel two" stands for "rescuer two"."""
    if pair.risk is not Risk.COUNTS:
        return pair.one, pair.other
    differ = zip(pair.one.split(), pair.other.split(), strict=True)
    return tuple(word for one, other in differ if one != other for word in (one, other))


def _where(pair: Rivals, every: int) -> str:
    first, *more = pair.steps
    if len(pair.steps) == every:
        return "every step"
    return f"{first} and {len(more)} more" if more else first


def _warnings(rivals: list[Rivals], measure: SoundDistance) -> Iterator[str]:
    near = Counter(pair.risk for pair in rivals if pair.too_near)
    for risk in (Risk.COUNTS, Risk.OTHER):
        if near[risk]:
            yield f"Warning: {near[risk]} pairs nearer than {LIMIT:g} ({MORE[risk]}): listen to what is answered."
    numbers = ", ".join(f"{one}/{other} {distance:.1f}" for one, other, distance in near_numbers(measure)[:SHOWN])
    yield f"Numbers that sound most alike: {numbers}. Say readings digit by digit."


def _refusal(refused: list[Rivals], book: Book, source: Source, card: Path | None) -> str:
    first = refused[0]
    place = _place(first, book, source, card)
    more = f" ({len(refused) - 1} more pairs above)" if len(refused) > 1 else ""
    when = f"which is in force with it at step '{first.steps[0]}'"
    if first.risk is Risk.REPEATED:
        when = f"which confirms the step before '{first.steps[0]}' and may be said once more"
    return (
        f"{place}: the phrase '{first.one}' sounds too much like '{first.other}', {when}: {first.distance:.1f} "
        f"mistaken sounds turn one into the other, and a phrase that confirms a step needs {LIMIT:g}. Reword one of "
        f"the two so that more of its words sound different{more}."
    )


def _place(pair: Rivals, book: Book, source: Source, card: Path | None) -> str:
    """File and line of the phrase that confirms, or of the other where that one is the program's own."""
    if card is not None and pair.steps[0] in source.words:
        text = card.read_text(encoding="utf-8")
        return f"{card.name}, line {_line(text, 'wording', list(source.words).index(pair.steps[0]), pair)}"
    for name in (source.name, *book.procedure.heading.includes):
        text = source.texts[name]
        ids = [line.partition("=")[2].strip().strip('"') for line in _heads(text)]
        if pair.steps[0] in ids:
            return f"{name}, line {_line(text, 'step', ids.index(pair.steps[0]), pair)}: step '{pair.steps[0]}'"
    return book.procedure.heading.id


def _heads(text: str) -> Iterator[str]:
    """The `id` lines of the steps, in their order."""
    for row in text.split("[[step]]")[1:]:
        yield next((line for line in row.splitlines() if line.split("=")[0].strip() == "id"), "")


def _line(text: str, table: str, index: int, pair: Rivals) -> int:
    start = line_of(text, table, index)
    lines = text.splitlines()[start:]
    for number, line in enumerate(lines, start=start + 1):
        if line.startswith("["):
            break
        if f'"{pair.one}"' in line or f'"{pair.other}"' in line:
            return number
    return line_of(text, table, index, "say")
