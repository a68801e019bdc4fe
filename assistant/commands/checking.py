"""`check`: a procedure file, its phrases and the words that the speech model must know."""

from argparse import Namespace

from assistant.card.content import card_of
from assistant.card.html import card_html
from assistant.commands.carding import write
from assistant.commands.nearness import check_nearness
from assistant.drawing import procedure_svg
from assistant.drill.preparing import dry_run
from assistant.drill.scenarios import is_scenario, load_scenario
from assistant.library import load_site, make_book, source_for
from protocol.phrases import every_phrase
from protocol.site import missing


def check(options: Namespace) -> int:
    """Check a procedure and say what it holds."""
    if options.procedure is not None and is_scenario(options.procedure):
        return _scenario(options)
    site = load_site(options.site)
    source = source_for(options.procedure, site)
    book = make_book(source)
    check_nearness(book, source, options.model, options.site)
    procedure = book.procedure
    phrases = every_phrase(book)
    print(f"{procedure.heading.title} (version {procedure.heading.version}): in order.")
    print(
        f"{len(procedure.stages)} stages, {len(procedure.steps)} steps, {len(procedure.interruptions)} emergencies, "
        f"{len(phrases)} phrases."
    )
    if options.svg is not None:
        write(options.svg, procedure_svg(procedure).encode())
    if options.card is not None:
        write(options.card, card_html(card_of(book, site.department.name if site else "")).encode())
    if site:
        for gap in missing(site):
            print(f"Site card: {gap}.")
    return 0


def _scenario(options: Namespace) -> int:
    """Check a drill's scenario: its rows, and that what was prepared can be said."""
    loaded = load_scenario(str(options.procedure), card=options.site)
    dry_run(loaded)
    row = loaded.scenario.scenario
    ends = f"ends with {row.ends}" if row.ends else "ends with stand-down"
    print(f"Scenario '{row.title}' (version {row.version}): in order.")
    print(f"{len(row.prepared)} lines prepared, {len(loaded.scenario.inject)} injects, {ends}.")
    return 0
