"""`check`: a procedure file, its phrases and the words that the speech model must know."""

from argparse import Namespace

from assistant.library import load_book
from protocol.phrases import every_phrase


def check(options: Namespace) -> int:
    """Check a procedure and say what it holds."""
    book = load_book(options.procedure)
    procedure = book.procedure
    phrases = every_phrase(book)
    print(f"{procedure.heading.title} (version {procedure.heading.version}): in order.")
    print(
        f"{len(procedure.stages)} stages, {len(procedure.steps)} steps, {len(procedure.interruptions)} emergencies, "
        f"{len(phrases)} phrases."
    )
    return 0
