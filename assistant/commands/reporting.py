"""`report`: the debrief of one record as a page, a PDF, CSV and JSON."""

from argparse import Namespace

from assistant.debrief.clips import Clips, clips
from assistant.debrief.counting import as_json, events_csv, stages_csv
from assistant.debrief.files import write
from assistant.debrief.html_page import html_page
from assistant.debrief.pdf_pages import pdf_pages
from assistant.debrief.sections import Cover
from assistant.debrief.sections import report as make_report
from assistant.debrief.telling import tell
from assistant.errors import DebriefError
from assistant.library import load_site


def report(options: Namespace) -> int:
    """Write the report's files and name them.

    Raises:
        JournalError: if the file is no record.
        DebriefError: if a file cannot be written, or the PDF's library is missing (the others are written then).
    """
    site = load_site(options.site)
    tale = tell(options.journal)
    department = site.department.name if site else ""
    cover = Cover(department, options.journal.name)
    made = make_report(tale, cover)
    folder, stem = options.out or options.journal.parent, options.journal.stem
    sounds = clips(tale, options.journal.parent, folder, f"{stem}.report") if options.audio else Clips({}, ())
    contents = {
        ".report.html": html_page(made, sounds.addresses),
        ".report.json": as_json(tale, department),
        ".events.csv": events_csv(tale),
        ".stages.csv": stages_csv(tale),
    }
    for ending, content in contents.items():
        print(f"Written: {write(folder / f'{stem}{ending}', content)}")
    for sentence in (*tale.condition.sentences, *sounds.sentences):
        print(sentence)
    try:
        pages = pdf_pages(made)
    except DebriefError as error:
        raise DebriefError(f"{error} The page, CSV and JSON are written.") from error
    print(f"Written: {write(folder / f'{stem}.report.pdf', pages)}")
    return 0
