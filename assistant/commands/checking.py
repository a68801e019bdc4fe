"""`check`: a procedure file, its phrases and the words that the speech model must know."""

from argparse import Namespace

from assistant.library import load_book, load_site
from protocol.phrases import every_phrase
from protocol.site import missing


def check(options: Namespace) -> int:
    """Check a procedure and say what it holds."""
    site = load_site(options.site)
    book = load_book(options.procedure, site)
    procedure = book.procedure
    phrases = every_phrase(book)
    print(f"{procedure.heading.title} (version {procedure.heading.version}): in order.")
    print(
        f"{len(procedure.stages)} stages, {len(procedure.steps)} steps, {len(procedure.interruptions)} emergencies, "
        f"{len(phrases)} phrases."
    )
    if site:
        for gap in missing(site):
            print(f"Site card: {gap}.")
    return 0
