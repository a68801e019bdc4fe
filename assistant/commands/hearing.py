"""`hear` and `devices`: recordings and sound devices, before they are relied on."""

import sys
from argparse import Namespace

from assistant.app import Wishes
from assistant.commands.radio_check import check_headset
from assistant.errors import AudioError
from assistant.hearing.hear import hear as hear_recordings
from assistant.hearing.hear import read_phrases
from assistant.hearing.listener import ListenPhrase
from assistant.hearing.recogniser import SpeechModel
from assistant.hearing.sources import device_lines
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
    """List the sound devices; with a test, a radio check on one headset."""
    lines = device_lines()
    if not lines:
        raise AudioError("No sound device was found. Plug in a headset, or use --keyboard and the board.")
    for line in lines:
        print(line)
    if options.test is None:
        return 0
    wishes = Wishes(input=options.input, output=options.output, model=options.model)
    return check_headset(options.test, wishes)
