"""What may be said aloud to the person who is held, in English or Spanish, by the stage that the work is in.

Short, calm, one thing to do. Nothing is promised. The Spanish has not been reviewed by a native speaker.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

Language = Literal["en", "es"]
SPANISH_REVIEWED = False
"""True once a native speaker who knows the work has read every Spanish line."""


@dataclass(frozen=True, slots=True)
class PersonLine:
    """One thing said to the person."""

    en: str
    es: str

    def text(self, language: Language) -> str:
        """The line in a language."""
        return self.es if language == "es" else self.en


_HOLD_STILL = PersonLine(
    "Help is here. Hold still. Keep your hands before your face.",
    "La ayuda está aquí. No se mueva. Mantenga las manos delante de la cara.",
)

LINES: Mapping[str, PersonLine] = MappingProxyType({
    "covered": PersonLine(
        "We are here. Cover your mouth. Breathe slowly.",
        "Estamos aquí. Cúbrase la boca. Respire despacio.",
    ),
    "line": _HOLD_STILL,
    "approach": PersonLine(
        "Someone is coming beside you. Hold still. Tell us what hurts.",
        "Alguien se acerca a su lado. No se mueva. Díganos qué le duele.",
    ),
    "legs": PersonLine(
        "Which way are your legs? Tell us at once if something touches them.",
        "¿Hacia dónde están sus piernas? Avise enseguida si algo las toca.",
    ),
    "panels": PersonLine(
        "We are putting a wall around you. Tell us at once if it touches you.",
        "Estamos poniendo una pared a su alrededor. Avise enseguida si la toca.",
    ),
    "vacuum": PersonLine(
        "We are taking the grain away, from your chest down. Breathe slowly. Do not climb yet.",
        "Estamos sacando el grano, desde el pecho hacia abajo. Respire despacio. No suba todavía.",
    ),
    "knees": PersonLine(
        "Can you feel your feet? Move them a little. Do not pull.",
        "¿Siente los pies? Muévalos un poco. No tire.",
    ),
    "climb": PersonLine(
        "Climb slowly, one foot on the panel, then the other. The line stays on you.",
        "Suba despacio, un pie en el panel, luego el otro. La cuerda sigue puesta.",
    ),
})  # fmt: skip
"""By the id of the stage; in every other stage the person is told to hold still."""


def line_for(stage: str) -> PersonLine:
    """What to say to the person in a stage."""
    return LINES.get(stage, _HOLD_STILL)


def every_line(language: Language) -> frozenset[str]:
    """All that may be said to the person in a language."""
    return frozenset(line.text(language) for line in (*LINES.values(), _HOLD_STILL))


def other(language: Language) -> Language:
    """The other of the two languages."""
    return "en" if language == "es" else "es"
