"""A report as blocks that a page and a PDF can both show."""

from dataclasses import dataclass
from typing import Literal

from assistant.debrief.picture import Picture


@dataclass(frozen=True, slots=True)
class Heading:
    """Begins a section."""

    text: str


@dataclass(frozen=True, slots=True)
class Text:
    """A paragraph."""

    text: str
    sort: Literal["plain", "caution", "small"] = "plain"


@dataclass(frozen=True, slots=True)
class Pairs:
    """Names and what they are."""

    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Table:
    """Columns and rows; a row may stand for a moment, so that what was said then can be played."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    parts: tuple[float, ...]
    """Share of the width of each column."""
    empty: str
    """What to say when there are no rows."""
    moments_ms: tuple[int, ...] = ()
    """The moment of each row whose sound may have been kept; empty: none."""


@dataclass(frozen=True, slots=True)
class Figure:
    """A picture with a sentence under it."""

    picture: Picture
    caption: str


@dataclass(frozen=True, slots=True)
class Folded:
    """A long table that a page shows folded and a PDF leaves out."""

    title: str
    table: Table


Block = Heading | Text | Pairs | Table | Figure | Folded


@dataclass(frozen=True, slots=True)
class Report:
    """A whole debrief."""

    title: str
    subtitle: str
    foot: str
    """On every page of the PDF."""
    paper: Literal["letter", "a4"]
    blocks: tuple[Block, ...]
