"""The files of a debrief, one after the other."""

from collections.abc import Iterator
from pathlib import Path

from assistant.debrief.clips import Clips, clips
from assistant.debrief.counting import as_json, events_csv, stages_csv
from assistant.debrief.files import write
from assistant.debrief.html_page import html_page
from assistant.debrief.pdf_pages import pdf_pages
from assistant.debrief.sections import Cover, report
from assistant.debrief.telling import tell
from assistant.errors import DebriefError


def make(record: Path, folder: Path, department: str, *, audio: bool) -> Iterator[str]:
    """Write the files; gives a sentence for each, and what a person should know about the record.

    Args:
        record: the file.
        folder: where to.
        department: its name; empty: not known.
        audio: let the page play what was kept.

    Raises:
        JournalError: if the file is no record.
        DebriefError: if a file cannot be written, or the PDF's library is missing (the others are written then).
    """
    tale = tell(record)
    made = report(tale, Cover(department, record.name))
    sounds = clips(tale, record.parent, folder, f"{record.stem}.report") if audio else Clips({}, ())
    contents = {
        "report.html": html_page(made, sounds.addresses),
        "report.json": as_json(tale, department),
        "events.csv": events_csv(tale),
        "stages.csv": stages_csv(tale),
    }
    for ending, content in contents.items():
        yield f"Written: {write(folder / f'{record.stem}.{ending}', content)}"
    yield from tale.condition.sentences
    yield from sounds.sentences
    try:
        pages = pdf_pages(made)
    except DebriefError as error:
        raise DebriefError(f"{error} The page, CSV and JSON are written.") from error
    yield f"Written: {write(folder / f'{record.stem}.report.pdf', pages)}"
