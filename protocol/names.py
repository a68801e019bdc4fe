"""How a line's tag and a person's name are written: short, and nothing that cannot be seen or turns the writing."""

from typing import Annotated

from pydantic import AfterValidator, StringConstraints

LINE_CHARS = 12
NAME_CHARS = 80
MAX_TENDERS = 4
"""Most who hold one line."""


def plain(text: str) -> str:
    """The text itself.

    Raises:
        ValueError: if it holds control characters or such as turn the direction of writing.
    """
    if not text.isprintable():
        raise ValueError("only letters, digits and plain signs")
    return text


LineTag = Annotated[str, StringConstraints(max_length=LINE_CHARS, strip_whitespace=True), AfterValidator(plain)]
"""As on the line's tag; empty: none."""
PersonName = Annotated[
    str, StringConstraints(min_length=1, max_length=NAME_CHARS, strip_whitespace=True), AfterValidator(plain)
]
