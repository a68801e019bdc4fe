"""Clips are made once, kept whole, and never hold anybody up."""

import os
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.clock import ManualClock, SystemClock, stopwatch_s
from assistant.errors import SpeechError, UsageError
from assistant.speaking import levels
from assistant.speaking.clip_store import ClipStore
from assistant.speaking.clips import NO_SPANISH, Clip, ClipCache
from assistant.speaking.voice_process import EngineFacts, VoiceProcess
from assistant.speaking.voice_settings import VoiceSettings, chosen_voice
from tests.speaking.test_voice_process import fake

Make = Callable[..., ClipCache]
TEXT = "Panel two set."


class SpyVoice(VoiceProcess):
    """The real or a fake child, and a list of what was rendered."""

    def __init__(self, mode: str = "", render_limit_ms: int = 3000) -> None:
        super().__init__(fake(mode) if mode else (), SystemClock(), 3000, render_limit_ms)
        self.rendered: list[tuple[str, int]] = []

    def render(self, text: str, voice: str, rate_wpm: int, volume: float) -> bytes:
        """As the parent."""
        self.rendered.append((text, rate_wpm))
        return super().render(text, voice, rate_wpm, volume)


@pytest.fixture
def make(tmp_path: Path) -> Iterator[Make]:
    """Makes caches in one folder and closes them."""
    made: list[ClipCache] = []

    def one(
        voice: VoiceProcess, folder: Path | None = None, report: Callable[[bool, str], None] | None = None
    ) -> ClipCache:
        made.append(ClipCache(folder or tmp_path / "clips", VoiceSettings(), voice, report))
        return made[-1]

    yield one
    for cache in made:
        cache.close()


def test_a_text_is_rendered_once(make: Make) -> None:
    """The second run takes the same samples from disk without asking the engine."""
    first, second = SpyVoice("obeys"), SpyVoice("obeys")
    cache = make(first)
    one = cache.clip(TEXT, 5000)
    cache.close()
    two = make(second).clip(TEXT, 5000)
    assert one is not None
    assert two is not None
    assert np.array_equal(one.samples, two.samples)
    assert ([(TEXT, VoiceSettings().rate_wpm)], []) == (first.rendered, second.rendered)


def test_prepare_shows_its_progress(make: Make) -> None:
    """Every new text moves the bar by one; texts that are there count at once; doubles count once."""
    told: list[tuple[int, int]] = []
    cache = make(SpyVoice("obeys"))
    cache.prepare(["one", "two"])
    prepared = cache.prepare(["one", "two", "three", "three", "four"], lambda done, total: told.append((done, total)))
    assert [(2, 4), (3, 4), (4, 4)] == told
    assert (4, (), "") == (prepared.ready, prepared.failed, prepared.reason)


@pytest.mark.parametrize("damage", ["cut", "flipped", "emptied", "rubbish"])
def test_a_damaged_clip_is_made_again(make: Make, tmp_path: Path, damage: str) -> None:
    """A clip that fails its checksum or cannot be read never sounds; it is rendered anew."""
    cache = make(SpyVoice("obeys"))
    good = cache.clip(TEXT, 5000)
    cache.close()
    (path,) = (tmp_path / "clips").glob("*.wav")
    whole = path.read_bytes()
    flipped = bytearray(whole)
    flipped[len(whole) // 2] ^= 0x10
    path.write_bytes({"cut": whole[:-100], "flipped": bytes(flipped), "emptied": b"", "rubbish": b"x" * 5000}[damage])
    voice = SpyVoice("obeys")
    again = make(voice).clip(TEXT, 5000)
    assert good is not None
    assert again is not None
    assert np.array_equal(good.samples, again.samples)
    assert [(TEXT, VoiceSettings().rate_wpm)] == voice.rendered


@settings(max_examples=60, deadline=None)
@given(at=st.integers(0, 10_000), value=st.integers(0, 255))
def test_no_changed_byte_changes_the_sound(tmp_path_factory: pytest.TempPathFactory, at: int, value: int) -> None:
    """Whatever byte of a stored clip is altered, loading gives the same samples or none."""
    store = ClipStore(tmp_path_factory.mktemp("store"))
    samples = (np.arange(2000) * 7).astype(np.int16)
    store.save("k", samples)
    path = store.folder / "k.wav"
    changed = bytearray(path.read_bytes())
    changed[at % len(changed)] = value
    path.write_bytes(bytes(changed))
    loaded = store.load("k")
    assert loaded is None or np.array_equal(samples, loaded)


def test_the_folder_is_bounded(tmp_path: Path) -> None:
    """Over its limit the folder loses the clips not used for longest, down to four fifths."""
    store = ClipStore(tmp_path, limit_bytes=100_000)
    for number in range(10):
        store.save(str(number), np.ones(10_000, np.int16))
        os.utime(tmp_path / f"{number}.wav", (1_000_000 + number, 1_000_000 + number))
    store.load("0")
    removed = store.trim()
    assert removed > 0
    assert store.has("0")
    assert not store.has("1")
    assert sum(path.stat().st_size for path in tmp_path.glob("*.wav")) <= 80_000


def test_another_voice_or_rate_is_another_clip(tmp_path: Path) -> None:
    """Settings are part of the key."""
    keys = set()
    for chosen in (
        VoiceSettings(),
        VoiceSettings(rate_wpm=160),
        VoiceSettings(volume=0.5),
        VoiceSettings(voice="gmw/en"),
    ):
        cache = ClipCache(tmp_path / "k", chosen, SpyVoice("obeys"))
        keys.add(cache._key(TEXT))
        cache.close()
    assert 4 == len(keys)


def test_numbers_are_spoken_slowly(make: Make) -> None:
    """A reading is rendered at the number rate."""
    voice = SpyVoice("obeys")
    make(voice).clip("Oxygen two zero decimal niner.", 5000)
    assert [("Oxygen two zero decimal niner.", VoiceSettings().number_rate_wpm)] == voice.rendered


@pytest.mark.parametrize("rates", [(119, 130), (181, 130), (150, 119), (150, 141)])
def test_rates_are_bounded(rates: tuple[int, int]) -> None:
    """120 to 180 words a minute, 120 to 140 for numbers; outside is a usage error."""
    with pytest.raises(UsageError, match="words a minute"):
        VoiceSettings(rate_wpm=rates[0], number_rate_wpm=rates[1])


def test_a_hung_engine_costs_a_bounded_wait(make: Make) -> None:
    """`clip` returns None after its limit and `request` at once, whatever the engine does."""
    cache = make(SpyVoice("hangs", render_limit_ms=2000))
    started_s = stopwatch_s()
    cache.request("other")
    assert stopwatch_s() - started_s < 0.1
    assert cache.clip(TEXT, 200) is None
    assert stopwatch_s() - started_s < 0.5


def test_failure_and_return_are_each_told_once(make: Make, tmp_path: Path) -> None:
    """A child that dies is reported, started again behind the scenes, and reported as back."""
    told: list[tuple[bool, str]] = []
    cache = make(SpyVoice(f"dies once={tmp_path / 'mark'}"), report=lambda works, why: told.append((works, why)))
    with pytest.raises(SpeechError):
        cache.request(TEXT).result(timeout=5)
    clock = SystemClock()
    while len(told) < 2 and clock.now_ms() < 5000:
        clock.wait_ms(20)
    assert [False, True] == [works for works, _ in told]
    assert "ended by itself" in told[0][1]
    assert cache.clip(TEXT, 5000) is not None
    assert "" == cache.trouble


def test_prepare_outlives_a_dying_engine(make: Make, tmp_path: Path) -> None:
    """One death in the middle of preparing costs a second, not the clips."""
    prepared = make(SpyVoice(f"dies once={tmp_path / 'mark'}")).prepare(["one", "two", "three", "four"])
    assert (4, (), "") == (prepared.ready, prepared.failed, prepared.reason)


def test_without_an_engine_prepare_says_why(make: Make) -> None:
    """All texts fail with the one sentence that says what to install."""
    prepared = make(SpyVoice("no engine")).prepare(["one", "two"])
    assert (0, ("one", "two")) == (prepared.ready, prepared.failed)
    assert "tried again" in prepared.reason or "apt install espeak-ng" in prepared.reason


def test_kept_clips_outlive_their_engine(make: Make) -> None:
    """What was rendered once is heard even when the engine is gone later."""
    cache = make(SpyVoice("obeys"))
    cache.prepare([TEXT])
    cache.close()
    assert make(SpyVoice("no engine")).clip(TEXT) is not None


def test_a_folder_that_cannot_be_written_only_costs_time(make: Make, tmp_path: Path) -> None:
    """Clips are made and spoken; one sentence says that they are not kept."""
    (tmp_path / "file").write_text("not a folder")
    cache = make(SpyVoice("obeys"), tmp_path / "file" / "clips")
    assert cache.clip(TEXT, 5000) is not None
    assert "cannot be kept" in cache.store_trouble


def test_a_sound_that_is_none_is_an_error(make: Make) -> None:
    """An engine that sends rubbish for sound fails that text only."""
    with pytest.raises(SpeechError, match="cannot be read"):
        make(SpyVoice("sends no sound")).request(TEXT).result(timeout=5)


def test_the_preferred_voice_is_taken_and_a_wrong_one_named() -> None:
    """No voice asked for: the first preferred one there; a voice that is not there: an error that lists English ones."""
    facts = EngineFacts("e", ("gmw/en", "gmw/de"), "gmw/de")
    assert "gmw/en" == chosen_voice("", facts)
    assert "" == chosen_voice("", EngineFacts("e", ("x",), "x"))
    with pytest.raises(SpeechError, match=r"'robot' is not on this machine\. English voices here: gmw/en"):
        chosen_voice("robot", facts)


def test_the_real_engine_speaks_at_one_loudness(make: Make) -> None:
    """Prompts of any length come out of espeak-ng within 0.5 dB of each other, unclipped, in a believable time."""
    texts = ["Six.", "Say again.", "All rescuers leave the bin now.", "Stop the flow. Auger, sweep and dryer off."]
    cache = make(SpyVoice())
    assert 4 == cache.prepare(texts).ready
    clips = [clip for text in texts if (clip := cache.clip(text)) is not None]
    loud = [20 * np.log10(levels.speech_active_rms(clip.samples)) for clip in clips]
    assert max(loud) - min(loud) < 0.5
    assert all(np.abs(clip.samples.astype(int)).max() < 32_000 for clip in clips)
    assert sorted(clips, key=lambda clip: clip.duration_ms) == clips
    assert 200 < clips[0].duration_ms < 1500


def test_memory_is_bounded(make: Make, monkeypatch: pytest.MonkeyPatch) -> None:
    """Clips not used for longest leave memory first and come back from disk."""
    monkeypatch.setattr("assistant.speaking.clips.MEMORY_LIMIT_SAMPLES", 20_000)
    cache = make(SpyVoice("obeys"))
    for number in range(6):
        assert cache.clip(f"word {'x' * number}", 5000) is not None
    assert cache._kept_samples <= 20_000
    assert isinstance(cache.clip("word "), Clip)


def test_a_clock_that_stands_still_is_enough() -> None:
    """The back-off runs on the clock it was given."""
    voice = VoiceProcess((sys.executable, "-c", ""), ManualClock())
    assert not voice.is_available()[0]
    assert "tried again" in voice.is_available()[1]


SPANISH = "Estamos aquí."


class Polyglot(SpyVoice):
    """An engine with these voices that notes which one was asked for."""

    def __init__(self, *voices: str) -> None:
        super().__init__("obeys")
        self.voices = voices
        self.asked: list[str] = []

    def facts(self) -> EngineFacts:
        """What it can do."""
        return EngineFacts("an engine", self.voices, "en")

    def render(self, text: str, voice: str, rate_wpm: int, volume: float) -> bytes:
        """As the parent, the voice noted."""
        self.asked.append(voice)
        return super().render(text, voice, rate_wpm, volume)


@pytest.mark.parametrize(
    ("voices", "asked", "noted", "kept"),
    [
        (("en", "es", "roa/es-419"), ["roa/es-419", "en"], [], 2),
        (("en",), ["en", "en"], [NO_SPANISH], 1),
    ],
    ids=["with a Spanish voice", "without"],
)
def test_spanish_is_spoken_with_a_spanish_voice(
    tmp_path: Path, voices: tuple[str, ...], asked: list[str], noted: list[str], kept: int
) -> None:
    """The voice follows the language of the text; where there is none it is said so, and the clip is not kept on disk."""
    told: list[str] = []
    voice = Polyglot(*voices)
    cache = ClipCache(tmp_path / "clips", VoiceSettings(spanish=frozenset({SPANISH})), voice, note=told.append)
    assert cache.clip(SPANISH, 5000) is not None
    assert cache.clip(TEXT, 5000) is not None
    cache.close()
    assert (asked, noted) == (voice.asked, told)
    assert kept == len(list((tmp_path / "clips").glob("*.wav")))
