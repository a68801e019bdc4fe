"""Pictures of the board at each main stage, for eyes: `python -m tests.board.pictures FOLDER [STAGE …]`.

Both screens in both themes, the command post once a stage. A person looks at them; nothing is compared.
"""

import sys
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path
from types import MappingProxyType

from assistant.board import Settings
from assistant.board.drawing import bin_shape
from tests.board.cable import NEAR
from tests.board.chromium import TALL, THEMES, WIDE, Tablet, chromium
from tests.board.rig import PIN, Rig
from tests.drills import COVERED, VISIBLE

POST = (1920, 1080)
SCREENS = (("wide", WIDE, ""), ("tall", TALL, ""), ("post", POST, "post"))


def _at(
    step: str, lines: tuple[str, ...] = VISIBLE, more: tuple[str, ...] = (), minutes: float = 0
) -> Callable[[Rig], None]:
    def tell(rig: Rig) -> None:
        rig.say_until(lines, step)
        rig.say(*more)
        if minutes:
            rig.wait(minutes)

    return tell


STAGES: Mapping[str, Callable[[Rig], object]] = MappingProxyType({
    "first": _at("people"),
    "size_up": _at("grain_kind"),
    "lockout": _at("tried"),
    "air": _at("air_person"),
    "entry": _at("entry_go"),
    "approach": _at("legs"),
    "panels": _at("panel_set", more=("panel one standing", "panel two standing")),
    "readback": _at("reach", more=("well below the kneecaps",)),
    "vacuum": _at("to_knees"),
    "panels_out": _at("panel_out", more=("panel two recovered",)),
    "alarm": _at("to_knees", more=("carbon monoxide six zero at the person",)),
    "overdue": _at("to_knees", minutes=25),
    "mayday": _at("driven", more=("mayday mayday mayday",)),
    "held": _at("chest_clear", more=("hold all work",)),
    "covered": _at("openings_cut", COVERED),
    "last": _at("stand_down"),
})
"""What is photographed, and how the incident gets there."""


def main() -> int:
    """Take them all, or those named."""
    folder, names = Path(sys.argv[1]), sys.argv[2:] or list(STAGES)
    folder.mkdir(parents=True, exist_ok=True)
    shape = bin_shape("Maple Road 2", 27, 24, "us")
    with chromium() as browser:
        for name in names:
            settings = Settings(port=0, pin=PIN, names=frozenset({NEAR}), bin_shape=shape)
            with tempfile.TemporaryDirectory() as record, Rig(Path(record), settings=settings) as rig:
                STAGES[name](rig)
                for screen, size, path in SCREENS:
                    one = Tablet(browser, rig.address, size, path)
                    if not path and not rig.state.closed:
                        one.sign_in()
                    for theme in THEMES:
                        one.theme(theme)
                        one.waits_for_record(len(rig.records))
                        one.page.screenshot(path=folder / f"{name}_{screen}_{theme}.png")
                    one.close()
    return 0


if __name__ == "__main__":
    sys.exit(main())
