"""From the symbols that the Kokoro voices speak to ARPABET, to pick the listed pronunciation that was really said."""

from __future__ import annotations

from typing import Final

from assistant.recipe.phones import PDF_OF, Pronunciation, pronunciations

SYMBOLS: Final[dict[str, str]] = {
    **dict(zip("AIOWYQ", ("EY", "AY", "OW", "AW", "OY", "OW"), strict=True)),
    **dict(zip("ʤʧʃʒθðŋɹjɡhɾʔT", "JH CH SH ZH TH DH NG R Y G HH T T T".split(), strict=True)),
    **dict(zip("bdfklmnpstvwz", "B D F K L M N P S T V W Z".split(), strict=True)),
    **dict(zip("ɑɒɔæaəʌɐᵊɛeɜɪiᵻuʊoʉ", "AA AA AO AE AE AH AH AH AH EH EH ER IH IY IH UW UH OW UW".split(), strict=True)),
    "ɚ": "ER",
}
_VOWELS: Final = frozenset("AA AE AH AO AW AY EH ER EY IH IY OW OY UH UW".split())
_NEAR: Final = frozenset(
    frozenset(pair.split("-"))
    for pair in "AA-AO AH-IH AH-EH AH-AE AH-UH AH-AA AH-ER IH-IY IH-EH UH-UW T-D AO-OW AE-EH AE-AA S-Z ER-R".split()
)


def to_arpabet(symbols: str) -> list[str]:
    """ARPABET of one word's symbols; stress and length marks are dropped, vowel + r becomes ER where it is one sound."""
    found = [SYMBOLS[symbol] for symbol in symbols if symbol in SYMBOLS]
    merged: list[str] = []
    for phone in found:
        if phone == "R" and merged and merged[-1] == "ER":
            continue
        merged.append(phone)
    return merged


def _cost(heard: str, listed: str) -> float:
    if heard == listed:
        return 0.0
    if frozenset((heard, listed)) in _NEAR:
        return 0.4
    return 0.8 if (heard in _VOWELS) == (listed in _VOWELS) else 1.3


def _gap(phone: str) -> float:
    return 0.35 if phone in ("R", "AH", "HH", "Y") else 1.0


def distance(heard: list[str], listed: Pronunciation) -> float:
    """Edit distance between what was said and a listed pronunciation; near sounds and lost r cost little."""
    row = [0.0]
    for phone in listed:
        row.append(row[-1] + _gap(phone))
    for sound in heard:
        previous, row = row, [row[0] + _gap(sound)]
        for index, phone in enumerate(listed):
            row.append(
                min(previous[index] + _cost(sound, phone), previous[index + 1] + _gap(sound), row[index] + _gap(phone))
            )
    return row[-1]


def said_as(words: list[str], symbols: str) -> list[Pronunciation] | None:
    """The listed pronunciation nearest to each spoken word, or None when some word was said in none of its listed ways.

    Args:
        words: lower-case words.
        symbols: the symbols spoken, words parted by spaces.
    """
    spoken = [part for part in symbols.replace("—", " ").split(" ") if to_arpabet(part)]
    if len(spoken) != len(words):
        return None
    chosen = []
    for word, part in zip(words, spoken, strict=True):
        heard = to_arpabet(part)
        best = min(pronunciations(word), key=lambda listed: distance(heard, listed))
        if distance(heard, best) > 0.28 * len(best) + 0.45:
            return None
        chosen.append(best)
    return chosen


def label_codes(chosen: list[Pronunciation]) -> tuple[list[int], list[bool]]:
    """(pdf of each phone, whether silence may stand after k phones for k = 0..len)."""
    codes: list[int] = []
    silence_after = [True]
    for said in chosen:
        codes += [PDF_OF[phone] for phone in said]
        silence_after += [False] * (len(said) - 1) + [True]
    return codes, silence_after
