"""Which recordings of people may train the model, which tune it, and which only test it. Split by speaker, for good.

Never in training or tuning: fsdd, asterisk_allison (share-alike), picovoice_s2i (no transcripts), and the test speakers.
"""

from __future__ import annotations

import hashlib
from typing import Final, Literal

Use = Literal["train", "tune", "test"]

TEST_ONLY_SETS: Final = frozenset({"fsdd", "asterisk_allison", "picovoice_s2i", "mimii_factory", "esc50_16k"})
TRAIN_ONLY_SETS: Final = frozenset(
    {"excerpts80", "ohf_phrases", "picovoice_wakewords", "pocketsphinx_tests", "misc_sentences"}
)
_SHARES: Final = {"an4": (25, 28), "common_voice_100": (10, 20)}
"""Percent below which a speaker tests, and below which one tunes; 15 and 20 elsewhere."""
HUMAN_SETS: Final = (
    "an4", "gsc_test_v002", "gsc_v001_bed_cat_happy", "common_voice_100", *sorted(TRAIN_ONLY_SETS),
)  # fmt: skip
NOISE_SETS: Final = ("ambient_apps", "gsc_background")
ROOM_SETS: Final = ("collected", "pra_sim")


def _percent(speaker: str) -> int:
    """0..99 from the speaker's name alone, so that one person falls on one side in every set."""
    return int(hashlib.md5(speaker.encode(), usedforsecurity=False).hexdigest(), 16) % 100


def use_of(collection: str, file: str, speaker: str) -> Use:
    """What a recording may be used for.

    AN4 (only its training part, 74 speakers, is at hand): the lowest quarter of the hash tests and the next 3 in 100 tune. Google Speech
    Commands (both versions): 15 in 100 speakers test and 5 tune. Common Voice: 10 test, 10 tune. Small sets of one or
    two speakers train.

    Args:
        collection: the folder's name under speech/.
        file: the file's path inside it.
        speaker: the speaker column of its metadata.
    """
    if collection in TEST_ONLY_SETS:
        return "test"
    if collection in TRAIN_ONLY_SETS:
        return "train"
    person = speaker.split("|", maxsplit=1)[0]
    if collection == "an4":
        if file.startswith("test/"):
            return "test"
        person = person.rstrip("0123456789")  # two sessions of one person stay on one side
    percent = _percent(person)
    test_below, tune_below = _SHARES.get(collection, (15, 20))
    return "test" if percent < test_below else ("tune" if percent < tune_below else "train")
