"""The model that ships: its size, its words, and that it hears whole phrases and refuses mixtures."""

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile
import vosk

from assistant.errors import ModelError
from assistant.recipe import lexicon, phrase_graph, texts
from assistant.recipe.phones import PHONE_IDS, Pronunciation

ROOT = Path(__file__).parents[2]
MODEL = ROOT / "assistant/model"
CLIPS = sorted((ROOT / "audio_fixtures/phrases").glob("*.flac"))


@pytest.fixture(scope="module")
def known() -> dict[str, tuple[Pronunciation, ...]]:
    """The shipped lexicon."""
    return lexicon.read(MODEL / lexicon.FILE)


def test_the_directory_stays_under_twelve_megabytes() -> None:
    """The whole model directory is smaller than 12 MB."""
    assert sum(path.stat().st_size for path in MODEL.rglob("*") if path.is_file()) < 12_000_000


def test_common_and_trade_words_are_known(known: dict[str, tuple[Pronunciation, ...]]) -> None:
    """Over 20,000 words, the radio's and the trade's among them."""
    wanted = "niner fife tree fower decimal affirm mayday lockout cofferdam lifeline tender deenergized phosphine hydrogen"
    wanted += " sulfide monoxide carbon dioxide oxygen auger l e z canister aeration walkway kneecaps wilco"
    assert len(known) > 20_000
    assert [] == [word for word in wanted.split() if word not in known]


def test_every_sound_in_the_lexicon_is_a_phone_of_the_net(known: dict[str, tuple[Pronunciation, ...]]) -> None:
    """No word is spelled with a phone that the net does not have."""
    used = {phone for ways in known.values() for way in ways for phone in way}
    assert used <= {name[:-2] for name in PHONE_IDS if name != "SIL"}


def test_every_phrase_of_the_shipped_procedures_can_be_heard(known: dict[str, tuple[Pronunciation, ...]]) -> None:
    """No phrase in the procedure files has a word that the model lacks."""
    phrases = texts.phrases_in(ROOT / "protocol/procedures")
    assert len(phrases) > 100
    assert [] == sorted({word for text in phrases for word in text.split() if word not in known})


def _heard(model: vosk.Model, grammar: list[str], path: Path) -> str:
    samples = np.concatenate([soundfile.read(path, dtype="int16")[0], np.zeros(8000, np.int16)])
    recogniser = vosk.KaldiRecognizer(model, 16000, json.dumps(grammar))
    heard = [
        json.loads(recogniser.Result())["text"]
        for start in range(0, len(samples), 1600)
        if recogniser.AcceptWaveform(samples[start : start + 1600].tobytes())
    ]
    return " ".join([*heard, json.loads(recogniser.FinalResult())["text"]]).strip()


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> tuple[vosk.Model, dict[str, str]]:
    """A model for the procedures' phrases and those of the shipped clips."""
    out = tmp_path_factory.mktemp("phrases")
    spoken = [path.stem.replace("_", " ") for path in CLIPS]
    units = phrase_graph.write(MODEL, [*texts.phrases_in(ROOT / "protocol/procedures"), *spoken], out)
    return vosk.Model(str(out)), units


@pytest.mark.parametrize("clip", CLIPS, ids=lambda path: path.stem)
def test_a_shipped_clip_is_heard_as_its_name(whole: tuple[vosk.Model, dict[str, str]], clip: Path) -> None:
    """With every procedure phrase in force at once, each shipped recording is heard as the words in its file name."""
    model, units = whole
    heard = [units.get(word, word) for word in _heard(model, [*units, "[unk]"], clip).split()]
    assert clip.stem.replace("_", " ") in heard


def test_a_phrase_not_in_force_is_not_heard(whole: tuple[vosk.Model, dict[str, str]]) -> None:
    """A recording whose own phrase is left out is never heard as another phrase."""
    model, units = whole
    for clip in CLIPS:
        others = [name for name, text in units.items() if text != clip.stem.replace("_", " ")]
        heard = _heard(model, [*others, "[unk]"], clip)
        assert not [word for word in heard.split() if word in units], (clip.stem, heard)


def test_an_unknown_word_is_named(tmp_path: Path) -> None:
    """A phrase with a word the model lacks is refused, and the word is named."""
    with pytest.raises(ModelError, match="flimwhistle"):
        phrase_graph.write(MODEL, ["open the flimwhistle"], tmp_path)
