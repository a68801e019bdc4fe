"""Titles of steps, stages and emergencies; their ids when the record's procedure cannot be used or lacks them."""

from dataclasses import dataclass

from protocol.errors import TableError
from protocol.scene import Book


@dataclass(frozen=True, slots=True)
class Names:
    """What things are called."""

    book: Book | None

    def step(self, step_id: str) -> str:
        """Title of a step."""
        if self.book is None:
            return plain(step_id)
        try:
            return self.book.procedure.step(step_id).title
        except TableError:
            return plain(step_id)

    def stage(self, step_id: str) -> tuple[str, str, bool]:
        """Id and title of the stage of a step, and whether it answers an emergency."""
        if self.book is None:
            return "", "Stages not known", False
        try:
            stage = self.book.procedure.stage_of(self.book.procedure.step(step_id))
        except TableError:
            return "", "Stage not known", False
        return stage.id, stage.title, stage.emergency

    def emergency(self, kind: str) -> str:
        """Title of an emergency."""
        if self.book is None:
            return plain(kind)
        try:
            return self.book.procedure.interruption(kind).title
        except TableError:
            return plain(kind)


def plain(identifier: str) -> str:
    """An id as words: "bad_air" becomes "Bad air"."""
    words = identifier.replace("_", " ").strip()
    return words[:1].upper() + words[1:] if words else "Not known"
