"""How often a rival fits a spoken phrase as well as the phrase itself, by the distance between the two.

Each clip of the tuning voices in noise is laid beside its own words and beside rivals made by changing one or two of
them into other words of the vocabulary, one rival for each stretch of distances. The rival wins where the second look
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
from assistant.hearing.phone_net import PhoneNet
from assistant.hearing.second_look import Lexicon, Look, PhraseTracker
from assistant.hearing.sound_distance import SoundDistance
from assistant.hearing.whole_phrases import read_lexicon
from tests.bench import hearing_sound as sound
from tests.bench.confusions import Clip, scores
from tests.bench.hearing_score import wilson

EDGES: Final = (0.01, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 5.0, 6.0, 8.0)
SNRS_DB: Final = (10.0, 5.0, 0.0)
TRIED: Final = 400
"""So many changed phrases are drawn for each clip, of which one for each stretch is kept."""


def show(model: Path, net: PhoneNet, clips: Sequence[Clip]) -> None:
    """Measure and print."""
    lexicon = read_lexicon(model)
    measure = SoundDistance(read_confusions(model).costs(), lexicon)
    rng = np.random.default_rng(2)
    words = sorted(word for word in lexicon if word.isalpha() and len(word) > 1)
    leads: dict[tuple[float, int], list[float]] = defaultdict(list)
    kinds = tuple(sound.INVENTED.values())
    for place, clip in enumerate(clips):
        rivals = list(made_up(clip.text, words, measure, rng))
        for snr_db in SNRS_DB:
            wave = sound.padded(clip.wave)
            noise = kinds[place % len(kinds)](rng, len(wave))
            rows = scores(net, sound.mixed(wave, noise, snr_db, rng))
            for stretch, rival in rivals:
                leads[snr_db, stretch].append(lead(rows, clip.text, rival, lexicon))
    print("\n".join(table(leads)))


def made_up(text: str, words: Sequence[str], measure: SoundDistance, rng: np.random.Generator) -> Iterator[tuple[int, str]]:
    """A rival for each stretch of distances that one can be found for."""
    drawn = list(dict.fromkeys(changed(text.split(), words, rng) for _ in range(TRIED)))
    distances = measure.between([(text, rival) for rival in drawn], EDGES[-1])
    for stretch, (low, high) in enumerate(pairwise(EDGES)):
        inside = [rival for rival, distance in zip(drawn, distances, strict=True) if low <= distance < high]
        if inside:
            yield stretch, inside[int(rng.integers(len(inside)))]


def changed(said: Sequence[str], words: Sequence[str], rng: np.random.Generator) -> str:
    """One word changed, or two."""
    new = list(said)
    for place in rng.choice(len(new), size=min(len(new), int(rng.integers(1, 3))), replace=False):
        new[place] = words[int(rng.integers(len(words)))]
    return " ".join(new)


def lead(rows: Frames, said: str, rival: str, lexicon: Lexicon) -> float:
    """By how much the phrase fits better than the rival, over the whole phrase, as the listener reckons it."""
    own, other = _look(rows, said, lexicon), _look(rows, rival, lexicon)
    if own is None:
        return -np.inf if other is not None else np.inf
    return np.inf if other is None else (other.shortfall - own.shortfall) * own.phones


def _look(rows: Frames, text: str, lexicon: Lexicon) -> Look | None:
    tracker = PhraseTracker(text, lexicon)
    tracker.feed(rows)
    return tracker.look


def table(leads: dict[tuple[float, int], list[float]]) -> Iterator[str]:
    """One line for each stretch of distances: rivals, and the share that won at each signal to noise ratio."""
    yield "distance      rivals  " + "  ".join(f"wins at {snr_db:2.0f} dB (95 %)   " for snr_db in SNRS_DB)
    for stretch, (low, high) in enumerate(pairwise(EDGES)):
        cells = []
        for snr_db in SNRS_DB:
            found = leads[snr_db, stretch]
            won = sum(value <= 0 for value in found)
            bounds = wilson(won, len(found)) if found else (0.0, 100.0)
            cells.append(f"{won / max(1, len(found)):6.1%} ({bounds[0]:.1f} to {bounds[1]:.1f})".ljust(25))
        yield f"{low:4.1f} to {high:3.1f} {len(leads[SNRS_DB[0], stretch]):7d}   " + "".join(cells)
