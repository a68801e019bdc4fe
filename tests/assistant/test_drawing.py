"""The procedure on paper."""

import xml.etree.ElementTree as ET

from assistant.drawing import phrase_card, procedure_svg
from assistant.library import load_book
from protocol.phrases import step_phrases


def test_every_step_is_drawn() -> None:
    """The drawing is well-formed and holds one box for each step, two lines round what is read back."""
    procedure = load_book().procedure
    root = ET.fromstring(procedure_svg(procedure))
    boxes = [node for node in root if node.tag.endswith("rect")]
    critical = sum(step.critical for step in procedure.steps)
    assert len(procedure.steps) + critical + 1 == len(boxes)


def test_every_phrase_is_on_the_card() -> None:
    """The card holds each phrase that confirms a step outside emergencies."""
    book = load_book()
    card = phrase_card(book)
    for step in book.procedure.steps:
        if book.procedure.stage_of(step).emergency or step.repeat:
            continue
        for phrase in step_phrases(step, 1):
            assert f"<b>{phrase}</b>" in card
