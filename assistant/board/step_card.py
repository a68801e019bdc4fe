"""The step that stands now: what to do, who confirms it with which words, and what is still missing."""

from dataclasses import dataclass

from protocol.guards import GUARDS, REPEATS_DONE, repeats_total
from protocol.machine import rows_from
from protocol.numbers import figure_words
from protocol.procedure import RETURN, Answer, Step
from protocol.scene import Scene
from protocol.timers import running
from protocol.wording import fill, fill_number, next_repeat

STATION = "board "
"""How every officer's tablet is named in the record: board 1, board 2."""
FOLLOWING = 3
"""How many steps ahead are shown."""
WHO = {"inside": "Crew inside", "outside": "Officer outside", "either": "Inside or outside"}


@dataclass(frozen=True, slots=True)
class Choice:
    """One way to confirm: the words, and what they stand for."""

    say: str
    answer: str | None = None
    number: int | None = None


@dataclass(frozen=True, slots=True)
class Readback:
    """What was heard and waits for "affirmative"."""

    text: str
    what: str
    """step or air."""
    asked_ms: int
    lapses_ms: int | None
    may_affirm: bool
    """The officer may answer it; otherwise the crew inside does, who said it."""


@dataclass(frozen=True, slots=True)
class StepCard:
    """Everything about the current step."""

    id: str
    title: str
    stage: str
    emergency: bool
    place: int
    """Which step of its stage, from one."""
    of: int
    since_ms: int
    confirmed_by: str
    who: str
    choices: tuple[Choice, ...]
    """Ways to confirm; the first is the one to say."""
    question: bool
    total: int
    """How often the step is confirmed; 1 for a plain one."""
    done: tuple[int, ...]
    """Which of them are on record."""
    inside: str
    """What the crew inside was told; empty: nothing."""
    outside: str
    caution: str
    critical: bool
    missing: tuple[str, ...]
    """Why it cannot be confirmed yet."""
    lacking: tuple[str, ...]
    """What an override passes without: the same, and the numbers that nobody confirmed."""
    readback: Readback | None
    following: tuple[str, ...]
    source: str
    final: bool


def step_card(scene: Scene) -> StepCard:
    """The card of the current step."""
    step, procedure = scene.step, scene.book.procedure
    stage = procedure.stage_of(step)
    siblings = [row.id for row in procedure.steps if row.stage == step.stage]
    return StepCard(
        id=step.id,
        title=step.title,
        stage=stage.title,
        emergency=stage.emergency,
        place=siblings.index(step.id) + 1,
        of=len(siblings),
        since_ms=scene.state.step_since_ms,
        confirmed_by=step.confirmed_by,
        who=WHO[step.confirmed_by],
        choices=_choices(scene, step),
        question=bool(step.answers),
        total=repeats_total(scene),
        done=scene.state.repeats,
        inside=_told(scene, step.inside),
        outside=_told(scene, step.outside),
        caution=step.caution or "",
        critical=step.critical,
        missing=missing(scene),
        lacking=lacking(scene),
        readback=_readback(scene),
        following=_following(scene, step),
        source=step.source,
        final=step.final,
    )


def missing(scene: Scene) -> tuple[str, ...]:
    """Why the step cannot be confirmed now, in the order in which it is asked; empty when nothing is missing."""
    rows = [row for row in rows_from(scene.book.procedure, scene.step) if not row.trigger.startswith("raise_")]
    guards = rows[0].guards if rows else ()
    reasons = [GUARDS[name](scene) for name in guards if name != REPEATS_DONE]
    return tuple(dict.fromkeys(_capital(reason) for reason in reasons if reason))


def lacking(scene: Scene) -> tuple[str, ...]:
    """What passing the step now would do without."""
    step = scene.step
    if not step.repeat:
        return missing(scene)
    left = (number for number in range(1, repeats_total(scene) + 1) if number not in scene.state.repeats)
    return (*missing(scene), *(_capital(f"{fill_number(step.say[0], number)}: not confirmed") for number in left))


def _told(scene: Scene, text: str | None) -> str:
    return fill(scene, text) if text else ""


def _choices(scene: Scene, step: Step) -> tuple[Choice, ...]:
    if step.final:
        return ()
    if step.answers:
        return tuple(_choice(answer) for answer in step.answers)
    if not step.repeat:
        return tuple(Choice(phrase) for phrase in step.say)
    first = next_repeat(scene)
    numbers = [first] if step.ordered else range(1, repeats_total(scene) + 1)
    left = [number for number in numbers if number not in scene.state.repeats]
    return tuple(Choice(fill_number(step.say[0], number), number=number) for number in left)


def _choice(answer: Answer) -> Choice:
    return Choice(answer.say[0], answer.value)


def _readback(scene: Scene) -> Readback | None:
    pending = scene.state.pending
    if pending is None:
        return None
    timer = running(scene.state, "readback")
    text = pending.heard
    if pending.gas is not None and pending.value is not None:
        value = format(pending.value, "f")
        text = f"{pending.gas.spoken} {value} at the {pending.place} ({figure_words(value)})"
    elif pending.answer is not None:
        text = _say_of(scene.step, pending.answer)
    elif scene.step.say:
        text = scene.step.say[0]
    mine = pending.what != "step" or scene.step.confirmed_by != "inside" or pending.by.startswith(STATION)
    return Readback(text, pending.what, pending.asked_ms, timer.due_ms if timer else None, mine)


def _say_of(step: Step, answer: str) -> str:
    return next((row.say[0] for row in step.answers if row.value == answer), answer)


def _following(scene: Scene, step: Step) -> tuple[str, ...]:
    titles: list[str] = []
    while step.next and len(titles) < FOLLOWING:
        if step.next == RETURN:
            back = scene.state.emergencies[-1].return_to if scene.state.emergencies else ""
            return (*titles, f"Back to: {scene.book.procedure.step(back).title}") if back else tuple(titles)
        step = scene.book.procedure.step(step.next)
        titles.append(step.title)
    return tuple(titles)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
