"""`hear` and `devices`: recordings and sound devices, before they are relied on."""

import sys
from argparse import Namespace

from assistant.clock import SystemClock
from assistant.errors import AudioError
from assistant.hearing.hear import hear as hear_recordings
from assistant.hearing.hear import read_phrases
from assistant.hearing.level import LevelMeter
from assistant.hearing.listener import ListenPhrase
from assistant.hearing.recogniser import SpeechModel
from assistant.hearing.sources import MicrophoneSource, device_lines
from assistant.library import load_book
from protocol.phrases import every_phrase


def hear(options: Namespace) -> int:
    """Say what is understood in each recording."""
    if options.phrases:
        phrases = read_phrases(options.phrases)
    else:
        phrases = [ListenPhrase(text) for text in every_phrase(load_book())]
    return hear_recordings(options.audio, phrases, SpeechModel(options.model), as_json=options.json, out=sys.stdout)


def devices(options: Namespace) -> int:
    """List the sound devices."""
    lines = device_lines()
    if not lines:
        raise AudioError("No sound device was found. Plug in a headset, or use --keyboard and the board.")
    for line in lines:
        print(line)
    if options.test:
        _test(options.test, options.input)
    return 0


def _test(seconds: float, name: str | None) -> None:
    """Listen to a microphone while somebody counts aloud, and say what was measured."""
    print(f"Count aloud for {seconds:.0f} seconds, with pauses, where you will work.", flush=True)
    meter, clock = LevelMeter(), SystemClock()
    with MicrophoneSource(name) as microphone:
        while clock.now_ms() < seconds * 1000:
            block = microphone.read(0.5)
            if block is not None:
                meter.feed(block)
    print(meter.report().in_words())
