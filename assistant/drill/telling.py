"""The score as lines for a terminal: facts, and a grade only where the department has set one."""

from collections.abc import Iterator

from assistant.story import clock_text
from protocol.procedure import Procedure
from protocol.score import InjectAnswer, Score


def facts(score: Score, procedure: Procedure) -> Iterator[str]:
    """The whole score, line by line."""
    name = f"Drill '{score.title}'" if score.title else "Drill"
    end = "not finished" if not score.closed else score.ended_by or "stand-down reached"
    yield f"{name}: {clock_text(score.duration_ms)}, {end}. {many(score.steps_confirmed, 'step')} confirmed."
    yield from _stages(score)
    yield from _injects(score)
    yield from _order(score, procedure)
    yield from _air_and_calls(score, procedure)
    yield from _words(score)
    if score.grade:
        yield f"By the department's own rules: {score.grade}."


def _stages(score: Score) -> Iterator[str]:
    yield "Time in each stage:"
    for row in score.stages:
        if not row.spent_ms:
            yield f"  {row.title:22s} not reached"
            continue
        wanted = "" if row.target_ms is None else f"  wanted {clock_text(row.target_ms)}"
        over = f", {clock_text(row.over_ms)} over" if row.over_ms else ""
        yield f"  {row.title:22s} {clock_text(row.spent_ms)}{wanted}{over}"
    if score.rewinds or score.pauses:
        yield f"  Put back: {times(score.rewinds)}. Paused: {times(score.pauses)}; that time is not counted."


def _injects(score: Score) -> Iterator[str]:
    if score.injects:
        yield "What happened, and how soon it was answered:"
    for row in score.injects:
        yield f"  {clock_text(row.given_ms)}  {row.text}  {_answer(row)}"


def _answer(row: InjectAnswer) -> str:
    if not row.expects:
        return "(no answer needed)"
    wanted = "" if row.within_s is None else f" (wanted in {row.within_s:g} s)"
    return f"NOT answered{wanted}" if row.took_ms is None else f"answered after {row.took_ms / 1000:.1f} s{wanted}"


def _order(score: Score, procedure: Procedure) -> Iterator[str]:
    yield f"Out of order: {len(score.order_faults) or 'nothing'}."
    for fault in score.order_faults:
        yield f"  {clock_text(fault.at_ms)}  at {procedure.step(fault.step).title}: {fault.what}"
    yield f"Refused because something was missing: {len(score.refused) or 'nothing'}."
    for row in score.refused:
        yield f"  {clock_text(row.at_ms)}  {procedure.step(row.step).title}: {row.reason}"
    for passed in score.overrides:
        title = procedure.step(passed.step).title
        yield f"Passed by an override at {clock_text(passed.at_ms)}: {title}: {passed.reason}"
    for emergency in score.emergencies:
        ended = "not over" if emergency.ended_ms is None else f"over at {clock_text(emergency.ended_ms)}"
        taken = ", withdrawn" if emergency.withdrawn else ""
        title = procedure.interruption(emergency.kind).title
        yield f"Emergency at {clock_text(emergency.raised_ms)}: {title}, {ended}{taken}."


def _air_and_calls(score: Score, procedure: Procedure) -> Iterator[str]:
    rows = [row for row in score.air_ages if row.oldest_ms is not None]
    if rows:
        oldest = max(rows, key=lambda row: row.oldest_ms or 0)
        gas = oldest.gas.spoken if oldest.gas else ""
        yield (
            f"Air: {many(len(rows), 'confirmation')} leaned on readings; the oldest was {gas}, "
            f"{clock_text(oldest.oldest_ms or 0)} old, at {procedure.step(oldest.step).title}."
        )
    yield (
        f"Roll calls: {len(score.roll_calls)} asked, {score.missed_roll_calls} missed. "
        f"Person checks: {len(score.person_checks)} asked, {score.missed_person_checks} missed."
    )


def _words(score: Score) -> Iterator[str]:
    backs = score.read_backs
    yield (
        f"Read back: {backs.asked} asked, {backs.affirmed} affirmed, {backs.negated} refused, {backs.lapsed} lapsed, "
        f"{backs.overtaken} overtaken. Asked to hear it again: {times(len(score.said_again_ms))}."
    )
    for row in score.misheard:
        yield f"  {clock_text(row.at_ms)}  misheard or misspoken ({row.how}): {row.words}"
    if score.unsure:
        least = "; ".join(f"{row.words} ({row.confidence:.2f})" for row in score.unsure[:5])
        yield f"Understood, but not surely: {least}. Look at the wording or the headset."


def many(count: int, what: str) -> str:
    """A count with its noun."""
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


def times(count: int) -> str:
    """How often, in words."""
    return {0: "never", 1: "once", 2: "twice"}.get(count, f"{count} times")
