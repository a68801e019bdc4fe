"""How often a rival fits a spoken phrase as well as the phrase itself, by the distance between the two.

Each clip of the tuning voices in noise is laid beside its own words and beside rivals made by changing one of them into
other words of the vocabulary, some for each stretch of distances. The rival wins where the second look
gives the phrase no lead over it: then nothing but the order of listing would tell the two apart.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Final

import numpy as np

from assistant.hearing.cepstra import Frames
from assistant.hearing.confusions import read_confusions
from assistant.hearing.laid_out import Lexicon
from assistant.hearing.phone_net import PhoneNet
from assistant.hearing.second_look import Look, PhraseTracker
from assistant.hearing.sound_distance import SoundDistance
from assistant.hearing.whole_phrases import read_lexicon
from tests.bench import hearing_sound as sound
from tests.bench.confusions import Clip, scores
from tests.bench.hearing_score import wilson

EDGES: Final = (0.01, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 6.0)
SNRS_DB: Final = (10.0, 0.0, -5.0)
EACH: Final = 3
"""Rivals of a clip in each stretch of distances, at most."""

DRAWN: Final = 4_000
"""Words of the vocabulary among which the rivals of one clip are looked for."""

Leads = dict[tuple[float, int], list[float]]


def show(model: Path, net: PhoneNet, clips: Sequence[Clip]) -> None:
    """Measure and print."""
    lexicon = read_lexicon(model)
    measure = SoundDistance(read_confusions(model).costs(), lexicon)
    rng = np.random.default_rng(2)
    words = sorted(word for word in lexicon if word.isalpha() and len(word) > 1)
    leads: Leads = defaultdict(list)
    kinds = tuple(sound.INVENTED.values())
    for place, clip in enumerate(clips):
        rivals = list(made_up(clip.text, words, measure, rng))
        for snr_db in SNRS_DB:
            wave = sound.padded(clip.wave)
            rows = scores(net, sound.mixed(wave, kinds[place % len(kinds)](rng, len(wave)), snr_db, rng))
            own = look(rows, clip.text, lexicon)
            for stretch, rival in rivals:
                leads[snr_db, stretch].append(lead(own, look(rows, rival, lexicon)))
        if place % 50 == 49:
            print(f"{place + 1} of {len(clips)} clips")
    print("\n".join(table(leads)))


def made_up(
    text: str, words: Sequence[str], measure: SoundDistance, rng: np.random.Generator
) -> Iterator[tuple[int, str]]:
    """Rivals for each stretch of distances for which there are any: one word of the phrase is another."""
    said = text.split()
    place = int(rng.integers(len(said)))
    words = rng.choice(words, DRAWN, replace=False).tolist()
    drawn = [" ".join((*said[:place], word, *said[place + 1 :])) for word in words]
    near = measure.between([(said[place], word) for word in words], EDGES[-1])
    for stretch, (low, high) in enumerate(pairwise(EDGES)):
        inside = [rival for rival, distance in zip(drawn, near, strict=True) if low <= distance < high]
        for number in rng.permutation(len(inside))[:EACH]:
            rival = inside[int(number)]
            if low <= measure.between([(text, rival)])[0] < high:
                yield stretch, rival


def look(rows: Frames, text: str, lexicon: Lexicon) -> Look | None:
    """What the second look sees of a phrase."""
    tracker = PhraseTracker(text, lexicon)
    tracker.feed(rows)
    return tracker.look


def lead(own: Look | None, other: Look | None) -> float:
    """By how much the phrase fits better than the rival, over the whole phrase, as the listener reckons it."""
    if own is None or other is None:
        return 0.0 if own is other else (-np.inf if own is None else np.inf)
    return (other.shortfall - own.shortfall) * own.phones


def table(leads: Leads) -> Iterator[str]:
    """One line for each stretch of distances: rivals, and the share that won at each signal to noise ratio."""
    yield "distance    rivals   " + "".join(f"won at {snr_db:2.0f} dB (95 %)".ljust(25) for snr_db in SNRS_DB)
    for stretch, (low, high) in enumerate(pairwise(EDGES)):
        cells = []
        for snr_db in SNRS_DB:
            found = leads[snr_db, stretch]
            won = sum(value <= 0 for value in found)
            bounds = wilson(won, len(found))
            cells.append(f"{won / max(1, len(found)):6.1%} ({bounds[0]:.1f} to {bounds[1]:.1f})".ljust(25))
        yield f"{low:4.1f} to {high:3.1f} {len(leads[SNRS_DB[0], stretch]):7d}   " + "".join(cells)
