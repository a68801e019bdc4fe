"""`report`: the debrief of one record as a page, a PDF, CSV and JSON."""

from argparse import Namespace

from assistant.library import load_site


def report(options: Namespace) -> int:
    """Write the report's files and name them.

    Raises:
        JournalError: if the file is no record.
        DebriefError: if a file cannot be written, or the PDF's library is missing (the others are written then).
    """
    from assistant.debrief.making import make  # noqa: PLC0415  a run that must listen at once does without it

    site = load_site(options.site)
    folder = options.out or options.journal.parent
    for sentence in make(options.journal, folder, site.department.name if site else "", audio=options.audio):
        print(sentence)
    return 0
