"""From procedure texts to a checked procedure: every row alone, then the whole as a machine.

Refused, with file, line and reason: unknown stage, guard, next step, setting or place in a prompt; two equal ids; a
step that cannot be reached or cannot be left; two equal phrases in one step, among emergencies or against a phrase
that is always in force; a phrase that advances with fewer than two words or four syllables; an emergency that does
not lead to a step of an emergency.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from string import Formatter
from types import MappingProxyType

from protocol.errors import TableError
from protocol.guards import GUARDS, NOBODY_INSIDE, REPEATS_DONE
from protocol.machine import Row, all_rows, is_raise, rows_from
from protocol.marks import MARKS
from protocol.phrases import (
    AFFIRM_PHRASES,
    BACK_PHRASE,
    CANISTER_PHRASE,
    CORRECTION_PHRASE,
    DISREGARD_PHRASE,
    HOLD_PHRASE,
    NEGATIVE_PHRASE,
    QUERY_PHRASES,
    RESUME_PHRASE,
    ROLL_CALL_PHRASE,
    level_phrase,
    rescuer_phrase,
    step_phrases,
    syllables,
)
from protocol.procedure import (
    BAD_AIR,
    RETURN,
    Interruption,
    Procedure,
    ProcedureText,
    Stage,
    Step,
    line_of,
    merge,
    read_procedure_text,
)
from protocol.wording import PLACES

MIN_WORDS = 2
MIN_SYLLABLES = 4
_NUMBERS = 12
"""Numbered phrases are checked up to the largest ring."""

ALWAYS_PHRASES = frozenset({
    *(text for text, _query in QUERY_PHRASES),
    *AFFIRM_PHRASES, NEGATIVE_PHRASE, DISREGARD_PHRASE, HOLD_PHRASE, RESUME_PHRASE, BACK_PHRASE, CORRECTION_PHRASE,
    ROLL_CALL_PHRASE, CANISTER_PHRASE,
    *(level_phrase(mark) for mark in MARKS),
    *(rescuer_phrase(slot, inside) for slot in range(1, 10) for inside in (True, False)),
})  # fmt: skip
"""Phrases that may be in force beside any step's own."""


Words = Mapping[str, Sequence[str]]
"""Phrases by step."""
NO_WORDS: Words = MappingProxyType({})

_NAMED = frozenset(GUARDS) - {REPEATS_DONE}
"""Guards that a row may name; the count of repeats is asked by the program itself."""


@dataclass(frozen=True, slots=True)
class _Source:
    """Where a row stands, for the message."""

    name: str
    text: str
    rows: ProcedureText

    def fail(self, row: Step | Stage | Interruption, key: str | None, reason: str) -> TableError:
        table = type(row).__name__.lower()
        rows: tuple[Step | Stage | Interruption, ...] = getattr(self.rows, table)
        index = next((i for i, other in enumerate(rows) if other is row), len(rows) - 1)
        line = line_of(self.text, table, index, key)
        return TableError(f"{self.name}, line {line}: {_KINDS[table]} '{row.id}': {reason}.")


_KINDS = {"step": "step", "stage": "stage", "interruption": "emergency"}


def load_procedure(main: str, texts: Mapping[str, str], words: Words = NO_WORDS) -> Procedure:
    """Parse, join and check a procedure.

    Args:
        main: name of the main text.
        texts: TOML text by name; includes are looked up by their id.
        words: a department's own phrases by step, in place of the file's.

    Raises:
        TableError: the first thing that is wrong, with file, line and reason.
    """
    if main not in texts:
        raise TableError(f"There is no procedure called '{main}'. Known: {', '.join(sorted(texts)) or 'none'}.")
    first = read_procedure_text(texts[main], main)
    included = []
    for name in first.procedure.includes:
        if name not in texts:
            raise TableError(f"{main}, line 1: includes '{name}', which is not there. Put {name}.toml beside it.")
        branch = read_procedure_text(texts[name], name)
        if branch.procedure.includes:
            raise TableError(f"{name}, line 1: an included procedure cannot include others; write it in {main}.")
        included.append(_Source(name, texts[name], branch))
    sources = _reworded((_Source(main, texts[main], first), *included), words)
    procedure = merge(sources[0].rows, tuple(source.rows for source in sources[1:]))
    _check_ids(sources)
    _check_names(procedure, sources)
    _check_answers(sources)
    _check_emergencies(procedure, sources)
    _check_phrases(sources)
    _check_machine(procedure, sources)
    _check_bad_air(procedure, sources)
    return procedure


def _reworded(sources: tuple[_Source, ...], words: Words) -> tuple[_Source, ...]:
    """The sources with a department's own phrases; questions keep their answers."""
    known = {step.id: step for source in sources for step in source.rows.step}
    for step_id in words:
        if step_id not in known:
            raise TableError(f"wording: there is no step '{step_id}'.")
        if not known[step_id].say:
            raise TableError(f"wording: step '{step_id}' is a question; its answers keep the shipped words.")
    if not words:
        return sources
    return tuple(_Source(source.name, source.text, _with_words(source.rows, words)) for source in sources)


def _with_words(rows: ProcedureText, words: Words) -> ProcedureText:
    steps = tuple(
        step.model_copy(update={"say": tuple(words[step.id])}) if step.id in words else step for step in rows.step
    )
    return rows.model_copy(update={"step": steps})


def _steps(sources: tuple[_Source, ...]) -> list[tuple[_Source, Step]]:
    return [(source, step) for source in sources for step in source.rows.step]


def _check_names(procedure: Procedure, sources: tuple[_Source, ...]) -> None:
    stages = {stage.id for stage in procedure.stages}
    known = {step.id for step in procedure.steps} | {RETURN}
    for source, step in _steps(sources):
        if step.stage not in stages:
            raise source.fail(step, "stage", f"there is no stage '{step.stage}'")
        wrong = [guard for guard in step.needs if guard not in _NAMED]
        if wrong:
            raise source.fail(step, "needs", f"there is no guard '{wrong[0]}'; known: {', '.join(sorted(_NAMED))}")
        for dest in (step.next, *(answer.to for answer in step.answers), *(row.to for row in step.detours)):
            if dest is not None and dest not in known:
                raise source.fail(step, "next", f"it leads to '{dest}', which is not a step")
            if dest == RETURN and not procedure.stage_of(step).emergency:
                raise source.fail(step, "next", f"only the steps of an emergency may end in {RETURN}")


def _check_answers(sources: tuple[_Source, ...]) -> None:
    for source, step in _steps(sources):
        if step.begins_again and step.begins_again not in {answer.value for answer in step.answers}:
            raise source.fail(step, "begins_again", f"'{step.begins_again}' is none of its answers")


def _check_ids(sources: tuple[_Source, ...]) -> None:
    for table in _KINDS:
        seen: set[str] = set()
        for source in sources:
            for row in getattr(source.rows, table):
                if row.id in seen:
                    raise source.fail(row, "id", "this id is used twice")
                seen.add(row.id)


def _check_emergencies(procedure: Procedure, sources: tuple[_Source, ...]) -> None:
    emergency = {step.id for step in procedure.steps if procedure.stage_of(step).emergency}
    seen: set[str] = set()
    for source in sources:
        for row in source.rows.interruption:
            if row.to not in emergency:
                raise source.fail(row, "to", f"it leads to '{row.to}', which is not a step of an emergency")
            for phrase in row.say:
                if phrase in seen or phrase in ALWAYS_PHRASES:
                    raise source.fail(row, "say", f"the phrase '{phrase}' already means something else")
                if "{" in phrase:
                    raise source.fail(row, "say", "only the phrases of a repeated step hold {n}")
                seen.add(phrase)


def _check_bad_air(procedure: Procedure, sources: tuple[_Source, ...]) -> None:
    """A bad reading raises this emergency by its name: without it nobody would be led out."""
    rows = [(source, row) for source in sources for row in source.rows.interruption if row.id == BAD_AIR]
    if not rows:
        raise TableError(
            f"{procedure.heading.id}: there is no emergency '{BAD_AIR}', so bad air would order nobody out. "
            "Include 'emergencies', or write one."
        )
    source, row = rows[0]
    if not row.evacuates:
        raise source.fail(row, "evacuates", f"'{BAD_AIR}' has to order everyone out: write evacuates = true")
    first = next((step for step in procedure.steps if step.id == row.to), None)
    if first is not None and NOBODY_INSIDE not in first.needs:
        raise source.fail(row, "to", f"its first step '{row.to}' has to need {NOBODY_INSIDE}")


def _check_phrases(sources: tuple[_Source, ...]) -> None:
    urgent = {phrase for source in sources for row in source.rows.interruption for phrase in row.say}
    for source, step in _steps(sources):
        _check_shape(source, step)
        own = step_phrases(step, _NUMBERS)
        for phrase in own:
            if own.count(phrase) > 1:
                raise source.fail(step, "say", f"the phrase '{phrase}' stands twice")
            if phrase in ALWAYS_PHRASES or phrase in urgent:
                raise source.fail(step, "say", f"the phrase '{phrase}' already means something in every step")
            if len(phrase.split()) < MIN_WORDS or syllables(phrase) < MIN_SYLLABLES:
                least = f"at least {MIN_WORDS} words and {MIN_SYLLABLES} syllables"
                raise source.fail(step, "say", f"the phrase '{phrase}' is too short: {least}")


def _check_shape(source: _Source, step: Step) -> None:
    if step.final:
        return
    if bool(step.say) == bool(step.answers):
        raise source.fail(step, "say", "it needs either phrases that confirm it (say) or answers, and not both")
    if bool(step.answers) != bool(step.fact):
        raise source.fail(step, "fact", "answers need the name of a fact, and a fact needs answers")
    phrases = step_phrases(step.model_copy(update={"repeat": None}), 1)
    if any(bool(step.repeat) != ("{n}" in phrase) for phrase in phrases):
        raise source.fail(step, "say", "phrases of a repeated step hold {n}, others do not")
    if step.repeat and (step.critical or step.answers):
        raise source.fail(step, "critical", "a repeated step is neither read back nor answered")
    for key, text in (("inside", step.inside), ("outside", step.outside)):
        wrong = _wrong_place(text or "")
        if wrong:
            raise source.fail(step, key, f"{wrong}; known: {', '.join(sorted(PLACES))}")
    if step.inside is None and step.outside is None:
        raise source.fail(step, None, "nobody is told anything: write inside or outside")
    told = {"inside": step.inside, "outside": step.outside}.get(step.confirmed_by, "told")
    if told is None:
        raise source.fail(step, "confirmed_by", f"{step.confirmed_by} confirms it but has no prompt")


def _wrong_place(text: str) -> str:
    """What is wrong with the places in braces of a prompt, or nothing."""
    try:
        fields = [(name, spec, how) for _text, name, spec, how in Formatter().parse(text) if name is not None]
    except ValueError:
        return "a brace in the prompt is not closed"
    wrong = [name for name, spec, how in fields if name not in PLACES or spec or how]
    return f"the prompt has no place called '{wrong[0]}'" if wrong else ""


def _check_machine(procedure: Procedure, sources: tuple[_Source, ...]) -> None:
    rows = all_rows(procedure)
    _check_duplicates(procedure, sources)
    reached = _closure({procedure.steps[0].id}, _ways_in(procedure, rows))
    final = {step.id for step in procedure.steps if step.final}
    ends = _closure(final, _reversed(_ways_out(procedure, rows)))
    for source, step in _steps(sources):
        if step.id not in reached:
            raise source.fail(step, "id", "no step leads here")
        if step.id not in ends:
            raise source.fail(step, "next", "it cannot be left: no way leads from it to the end")
    if not final:
        raise TableError(f"{procedure.heading.id}: no step is final; give the last one final = true.")


def _check_duplicates(procedure: Procedure, sources: tuple[_Source, ...]) -> None:
    for source, step in _steps(sources):
        triggers = [row.trigger for row in rows_from(procedure, procedure.step(step.id))]
        for trigger in triggers:
            if triggers.count(trigger) > 1:
                raise source.fail(step, "answers", f"two rows have the trigger '{trigger}'")


def _ways_in(procedure: Procedure, rows: tuple[Row, ...]) -> dict[str, set[str]]:
    """Where each step leads; a return leads only to where the incident has been, so it reaches nothing new."""
    edges: dict[str, set[str]] = {step.id: set() for step in procedure.steps}
    for row in rows:
        if row.dest != RETURN:
            edges[row.source].add(row.dest)
    return _with_detours(procedure, edges)


def _with_detours(procedure: Procedure, edges: dict[str, set[str]]) -> dict[str, set[str]]:
    return {step.id: edges[step.id] | {row.to for row in step.detours} for step in procedure.steps}


def _ways_out(procedure: Procedure, rows: tuple[Row, ...]) -> dict[str, set[str]]:
    """Where each step leads by its own words: an emergency interrupts a step, it is no way to leave it."""
    homes = {step.id for step in procedure.steps if not procedure.stage_of(step).emergency}
    edges: dict[str, set[str]] = {step.id: set() for step in procedure.steps}
    for row in rows:
        if not is_raise(row):
            edges[row.source] |= homes if row.dest == RETURN else {row.dest}
    return _with_detours(procedure, edges)


def _reversed(edges: dict[str, set[str]]) -> dict[str, set[str]]:
    back: dict[str, set[str]] = {name: set() for name in edges}
    for source, dests in edges.items():
        for dest in dests:
            back[dest].add(source)
    return back


def _closure(starts: set[str], edges: dict[str, set[str]]) -> set[str]:
    reached = set(starts)
    waiting = list(starts)
    while waiting:
        for dest in edges[waiting.pop()] - reached:
            reached.add(dest)
            waiting.append(dest)
    return reached
