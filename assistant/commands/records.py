"""`replay`: the story of a record, and whether today's rules decide it the same way."""

from argparse import Namespace

from assistant.journal import read
from assistant.replay import book_of, rebuild, verify
from assistant.story import clock_text, lines_of

DIFFERENT = 9
"""Exit status when the record verifies as whole but today's rules decide otherwise."""


def replay(options: Namespace) -> int:
    """Print the story, then verify."""
    history = read(options.journal)
    book = book_of(history)
    if not options.verify:
        print(f"{book.procedure.heading.title}. {history.header.kind}, opened {history.header.opened}.")
        for record in history.records:
            for line in lines_of(record, book):
                print(line)
    state = rebuild(history)
    ended = "closed" if state.closed else f"open at {book.procedure.step(state.step).title}" if state.step else "empty"
    print(f"{len(history.records)} records, {clock_text(state.at_ms)}, {ended}. Digest {history.chain}.")
    if history.torn:
        print(f"{len(history.torn)} bytes of a record that was being written follow; they are not counted.")
    difference = verify(history)
    if difference is None:
        print("Verified: every record is whole, and the rules decide each one as recorded.")
        return 0
    print(f"Record {difference.n} differs: recorded {difference.recorded}; decided now {difference.decided}.")
    return DIFFERENT
