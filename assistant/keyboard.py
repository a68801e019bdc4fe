"""Typed lines in place of speech: the same phrases, and a few slash commands for what cannot be said."""

import threading
from collections.abc import Callable, Iterable
from dataclasses import replace

from assistant.inputs import Input, Order, Stop, Words
from protocol import commands as cmd

HELP = (
    "Type a phrase as you would say it. Also: /override REASON (pass this step), /answer VALUE REASON (pass a "
    "question), /end REASON (bin empty), /note TEXT, /words (phrases in force), /quit."
)


LONGEST_LINE = 2_000


def read_lines(
    lines: Iterable[str],
    put: Callable[[Input], None],
    origin: cmd.Origin,
    step: Callable[[], str],
    *,
    ends_run: bool,
) -> threading.Thread:
    """Feed typed lines into the queue from a thread of their own.

    Args:
        lines: standard input, usually.
        put: the queue's put.
        origin: who types.
        step: tells the current step, for overrides.
        ends_run: the end of the input ends the run (typed runs); otherwise only typing ends.
    """

    def work() -> None:
        for line in lines:
            if line.strip():
                put(parse(_clean(line), origin, step()))
        if ends_run:
            put(Stop("end of input"))

    thread = threading.Thread(target=work, name="keyboard", daemon=True)
    thread.start()
    return thread


def parse(line: str, origin: cmd.Origin, step: str) -> Input:
    """One typed line as an input."""
    heard = replace(origin, heard=line)
    word, _space, rest = line.partition(" ")
    if word == "/quit":
        return Stop("typed")
    if word == "/note" and rest:
        return Order(cmd.Note(0, heard, rest))
    if word == "/end" and rest:
        return Order(cmd.EndWork(0, heard, rest))
    if word == "/override" and rest:
        return Order(cmd.Override(0, heard, step, rest))
    if word == "/answer" and rest:
        answer, _gap, reason = rest.partition(" ")
        return Order(cmd.Override(0, heard, step, reason, answer))
    return Words(line, heard)


def _clean(line: str) -> str:
    """What is no text becomes a question mark, and a cat on the keyboard has an end."""
    return line.strip()[:LONGEST_LINE].encode(errors="replace").decode()
