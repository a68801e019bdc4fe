"""The spoken radio check of one headset before a run: the same station, voice and recogniser as in the run."""

from assistant.app import Wishes, live_station
from assistant.clock import Clock, SystemClock
from assistant.errors import AudioError
from assistant.inputs import Words
from assistant.library import load_book
from assistant.station import Station
from protocol.events import Said, Urgency
from protocol.headset import SPOKEN, WRITTEN, Verdict, figures, verdict_of
from protocol.phrases import RADIO_CHECK_PHRASE
from protocol.rules.headsets import ABOUT
from protocol.scene import Scene
from protocol.state import State

NOT_UNDERSTOOD = 10
"""Exit status when the phrase was not understood."""
ASK = "Say, radio check."
LONGEST_SENTENCE_MS = 15_000
LOOK_MS = 20


def check_headset(seconds: float, wishes: Wishes) -> int:
    """Ask the wearer for a radio check, and say whether it was understood and what was measured.

    Args:
        seconds: how long to wait for it.
        wishes: which devices and model.

    Raises:
        AudioError: if there is no microphone, or no speech model.
    """
    clock, book = SystemClock(), load_book()
    built = live_station(book, wishes, clock, print)
    station = built.station
    try:
        for trouble in built.troubles:
            if trouble.part != "speaker":
                raise AudioError(trouble.detail)
            print(f"The question is shown only: {trouble.detail}", flush=True)
        station.listen_for(Scene(book, State(), 0))
        print(f"{ASK} Where you will work, as you will wear the headset.", flush=True)
        _say(station, clock, ASK)
        words = _wait(station, clock, round(seconds * 1000))
        verdict = _tell(station, words, seconds)
        if words is not None:
            _say(station, clock, SPOKEN[verdict])
    finally:
        built.close()
    return 0 if words is not None else NOT_UNDERSTOOD


def _tell(station: Station, words: Words | None, seconds: float) -> Verdict:
    heard = words.origin.sound if words is not None else None
    sound = heard or station.levels.report()
    verdict = verdict_of(sound)
    print(f"{figures(sound)}.")
    if words is not None:
        print(f"Understood: {words.text} ({words.origin.confidence:.2f}). Verdict: {WRITTEN[verdict]}.", flush=True)
        return verdict
    advice = "say it again as one phrase, or use the board" if verdict is Verdict.GOOD else WRITTEN[verdict]
    print(f"Not understood within {seconds:g} seconds. Verdict: {advice}.", flush=True)
    return verdict


def _say(station: Station, clock: Clock, text: str) -> None:
    """Say a sentence to its end."""
    station.tell(Said(0, "both", Urgency.PROMPT, text, ABOUT), State())
    until_ms = clock.now_ms() + LONGEST_SENTENCE_MS
    while not station.silent and clock.now_ms() < until_ms:
        station.poll(clock.now_ms())
        clock.wait_ms(LOOK_MS)


def _wait(station: Station, clock: Clock, limit_ms: int) -> Words | None:
    until_ms = clock.now_ms() + limit_ms
    while clock.now_ms() < until_ms:
        for item in station.poll(clock.now_ms()):
            if isinstance(item, Words) and item.text == RADIO_CHECK_PHRASE:
                return item
        clock.wait_ms(LOOK_MS)
    return None
