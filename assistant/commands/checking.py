"""`check`: a procedure file, its phrases and the words that the speech model must know."""

from argparse import Namespace
from pathlib import Path

from assistant.drawing import phrase_card, procedure_svg
from assistant.errors import UsageError
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
    for path, text in ((options.svg, procedure_svg(procedure)), (options.card, phrase_card(book))):
        if path is not None:
            _write(path, text)
    if site:
        for gap in missing(site):
            print(f"Site card: {gap}.")
    return 0


def _write(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise UsageError(f"{path}: cannot be written ({error.strerror}). Choose another place.") from error
    print(f"Written: {path}")
