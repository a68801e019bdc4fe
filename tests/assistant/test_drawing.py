"""The procedure on paper."""

import xml.etree.ElementTree as ET

from assistant.drawing import procedure_svg
from assistant.library import load_book


def test_every_step_is_drawn() -> None:
    """The drawing is well-formed and holds one box for each step, two lines round what is read back."""
    procedure = load_book().procedure
    root = ET.fromstring(procedure_svg(procedure))
    boxes = [node for node in root if node.tag.endswith("rect")]
    critical = sum(step.critical for step in procedure.steps)
    assert len(procedure.steps) + critical + 1 == len(boxes)
