"""`card`: the phrases on one page, to print."""

from argparse import Namespace
from pathlib import Path

from assistant.card.content import card_of
from assistant.card.html import card_html
from assistant.card.pdf import card_pdf
from assistant.errors import UsageError
from assistant.library import load_book, load_site
from protocol.commands import Role

PDF, HTML = (".pdf",), (".html", ".htm")


def card(options: Namespace) -> int:
    """Write the card.

    Raises:
        UsageError: if the file is of another kind or cannot be written.
        ProcedureError: if procedure or site card are wrong.
        DebriefError: if the PDF's library is missing, or the phrases do not fit on a page.
    """
    path: Path = options.out
    if path.suffix.lower() not in (*PDF, *HTML):
        raise UsageError(f"{path}: name a file that ends in .pdf or .html.")
    site = load_site(options.site)
    made = card_of(load_book(options.procedure, site), site.department.name if site else "", Role(options.role))
    if path.suffix.lower() in HTML:
        write(path, card_html(made).encode())
        return 0
    page, size_pt = card_pdf(made)
    write(path, page)
    print(f"One page, {made.paper}, letters of {size_pt:.1f} points. Larger: --role inside, --role outside.")
    return 0


def write(path: Path, content: bytes) -> None:
    """Write one file and name it.

    Raises:
        UsageError: if it cannot be written.
    """
    try:
        path.write_bytes(content)
    except OSError as error:
        raise UsageError(f"{path}: cannot be written ({error.strerror}). Choose another place.") from error
    print(f"Written: {path}")
