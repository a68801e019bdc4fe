"""Text to sound, kept: in memory, on disk, or rendered in the background by the speech engine."""

import hashlib
import itertools
import json
import queue
import threading
from collections import OrderedDict
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from platformdirs import user_cache_path

from assistant.clock import Clock, SystemClock
from assistant.errors import SpeechError
from assistant.speaking import levels, wording
from assistant.speaking.clip_store import ClipStore
from assistant.speaking.levels import Samples
from assistant.speaking.voice_process import EngineFacts, VoiceProcess
from assistant.speaking.voice_settings import SPANISH_VOICES, VoiceSettings, chosen_voice, spanish_voice

FORMAT: Final = 1
CLIP_WAIT_MS: Final = 400
PREPARE_WAIT_S: Final = 15.0
PREPARE_PASSES: Final = 3
BETWEEN_PASSES_MS: Final = 1_000
RETRY_EVERY_S: Final = 1.0
MEMORY_LIMIT_SAMPLES: Final = 8_000_000
LONGEST_QUEUE: Final = 1000

Report = Callable[[bool, str], None]
Progress = Callable[[int, int], None]
NO_SPANISH: Final = "The speech engine has no Spanish voice: Spanish is spoken with an English one."


@dataclass(frozen=True, slots=True, eq=False)
class Clip:
    """A spoken text: int16 mono at 16 kHz, trimmed, at the program's one loudness."""

    text: str
    samples: Samples

    @property
    def duration_ms(self) -> int:
        """Length, rounded up."""
        return levels.duration_ms(self.samples)


@dataclass(frozen=True, slots=True)
class Prepared:
    """What `prepare` achieved."""

    ready: int
    failed: tuple[str, ...]
    reason: str
    "Why the failed ones failed; empty when all are ready."


@dataclass(order=True, slots=True)
class _Job:
    urgency: int
    number: int
    text: str = field(compare=False)
    future: Future[Clip] = field(compare=False)


def default_folder() -> Path:
    """Where clips are kept unless told otherwise."""
    return user_cache_path("bin-rescue-assistant") / "clips"


class ClipCache:
    """Gives clips; nothing but `prepare` and a bounded wait in `clip` ever blocks.

    `report(works, sentence)` is called from the worker thread whenever the engine fails or comes back, and `note`,
    once, when Spanish is spoken with an English voice.
    """

    def __init__(
        self,
        folder: Path | None = None,
        settings: VoiceSettings | None = None,
        voice: VoiceProcess | None = None,
        report: Report | None = None,
        clock: Clock | None = None,
        note: Callable[[str], None] = lambda _: None,
    ) -> None:
        self._note = note
        self._noted = False
        self.settings = settings or VoiceSettings()
        self._store = ClipStore(folder or default_folder())
        self._clock = clock or SystemClock()
        self._voice = voice or VoiceProcess(clock=self._clock)
        self._report = report
        self._engine = self._store.remembered_engine()
        self._kept: OrderedDict[str, Clip] = OrderedDict()
        self._kept_samples = 0
        self._waiting: dict[str, Future[Clip]] = {}
        self._jobs: queue.PriorityQueue[_Job] = queue.PriorityQueue()
        self._numbers = itertools.count()
        self._lock = threading.Lock()
        self._closed = False
        self._trouble = ""
        self._met_once = False
        self.store_trouble = ""
        "Why clips cannot be kept on disk; empty while all is well. Speech works without."
        self._worker = threading.Thread(target=self._work, name="clips", daemon=True)
        self._worker.start()

    @property
    def trouble(self) -> str:
        """Why new texts cannot be rendered now; empty while all is well."""
        return self._trouble

    def clip(self, text: str, wait_ms: int = CLIP_WAIT_MS) -> Clip | None:
        """The clip, waiting at most `wait_ms` for a new one; None means: show the text."""
        try:
            return self.request(text).result(timeout=wait_ms / 1000)
        except (SpeechError, TimeoutError):
            return None

    def request(self, text: str, urgency: int = 0) -> Future[Clip]:
        """The clip as soon as it is there; at once when it is in memory or on disk. Fails with SpeechError."""
        text = wording.clean(text)
        clip = self._known(text)
        if clip is not None:
            return _done(clip)
        with self._lock:
            if self._closed or len(self._waiting) >= LONGEST_QUEUE:
                return _failed("Too many texts wait for the speech engine; this one is only shown.")
            future = self._waiting.setdefault(text, Future())
            self._jobs.put(_Job(urgency, next(self._numbers), text, future))
            return future

    def prepare(self, texts: Sequence[str], progress: Progress | None = None) -> Prepared:
        """Make sure that all texts are on disk, rendering what is missing; blocks and calls `progress(done, total)`.

        Call it before a run. Clips already there are only looked at when they are first spoken.
        """
        wanted = list(dict.fromkeys(wording.clean(text) for text in texts))
        missing = [text for text in wanted if not self._on_disk(text)]
        done = len(wanted) - len(missing)
        if progress:
            progress(done, len(wanted))
        for attempt in range(PREPARE_PASSES):
            failed, reason = self._render_all(missing, done, len(wanted), progress)
            done += len(missing) - len(failed)
            if not failed or not self._met_once or attempt + 1 == PREPARE_PASSES:
                break
            missing = failed
            self._clock.wait_ms(BETWEEN_PASSES_MS)
        self._trim()
        return Prepared(done, tuple(failed), reason)

    def close(self) -> None:
        """Stop the worker and the engine."""
        self._closed = True
        self._jobs.put(_Job(-1, next(self._numbers), "", Future()))
        self._voice.close()
        self._worker.join(timeout=5)
        self._voice.close()

    def _render_all(
        self, texts: Sequence[str], done: int, total: int, progress: Progress | None
    ) -> tuple[list[str], str]:
        failed: list[str] = []
        reason = ""
        futures = [(text, self.request(text, urgency=1)) for text in texts]
        for text, future in futures:
            try:
                future.result(timeout=PREPARE_WAIT_S)
            except (SpeechError, TimeoutError) as error:
                failed.append(text)
                reason = str(error) or "The speech engine is too slow."
            else:
                done += 1
                if progress:
                    progress(done, total)
        return failed, reason

    def _key(self, text: str) -> str:
        voice = SPANISH_VOICES[0] if text in self.settings.spanish else self.settings.voice
        shape = [FORMAT, text, voice, self.settings.rate_for(text), self.settings.volume, self._engine]
        return hashlib.sha256(json.dumps(shape).encode()).hexdigest()[:40]

    def _on_disk(self, text: str) -> bool:
        return text in self._kept or (bool(self._engine) and self._store.has(self._key(text)))

    def _known(self, text: str) -> Clip | None:
        with self._lock:
            clip = self._kept.get(text)
            if clip is not None:
                self._kept.move_to_end(text)
                return clip
        samples = self._store.load(self._key(text)) if self._engine else None
        return None if samples is None else self._keep(Clip(text, samples))

    def _keep(self, clip: Clip) -> Clip:
        with self._lock:
            if clip.text not in self._kept:
                self._kept[clip.text] = clip
                self._kept_samples += clip.samples.size
            while self._kept_samples > MEMORY_LIMIT_SAMPLES and len(self._kept) > 1:
                self._kept_samples -= self._kept.popitem(last=False)[1].samples.size
        return clip

    def _work(self) -> None:
        self._meet_engine()
        while not self._closed:
            try:
                job = self._jobs.get(timeout=RETRY_EVERY_S if self._trouble else None)
            except queue.Empty:
                self._meet_engine()
                continue
            if not job.future.done() and not self._closed:
                self._do(job)
        self._give_up_waiting()

    def _do(self, job: _Job) -> None:
        try:
            clip = self._known(job.text) or self._rendered(job.text)
        except SpeechError as error:
            self._forget(job)
            job.future.set_exception(error)
            self._say_state(str(error))
        else:
            self._forget(job)
            job.future.set_result(clip)
            self._say_state("")

    def _rendered(self, text: str) -> Clip:
        facts = self._voice.facts()
        self._met(facts)
        rate_wpm = self.settings.rate_for(text)
        spanish = spanish_voice(facts) if text in self.settings.spanish else ""
        foreign = text in self.settings.spanish and not spanish
        if foreign and not self._noted:
            self._noted = True
            self._note(NO_SPANISH)
        voice = spanish or chosen_voice(self.settings.voice, facts)
        sound = self._voice.render(text, voice, rate_wpm, self.settings.volume)
        samples = levels.normalised(levels.trimmed(levels.decode(sound)))
        if samples.size == 0:
            raise SpeechError(f"The speech engine made no sound of {text!r}.")
        try:
            if not foreign:
                self._store.save(self._key(text), samples)
        except OSError as error:
            self.store_trouble = (
                f"Clips cannot be kept in {self._store.folder} ({error}); they are made again next time."
            )
        return self._keep(Clip(text, samples))

    def _meet_engine(self) -> None:
        try:
            self._met(self._voice.facts())
        except SpeechError as error:
            self._say_state(str(error))
        else:
            self._say_state("")

    def _met(self, facts: EngineFacts) -> None:
        self._met_once = True
        if facts.engine == self._engine:
            return
        with self._lock:
            self._engine = facts.engine
            self._kept.clear()
            self._kept_samples = 0
        try:
            self._store.remember_engine(facts.engine)
        except OSError:
            return  # saving a clip fails in the same way and says so

    def _say_state(self, trouble: str) -> None:
        changed = bool(trouble) != bool(self._trouble)
        self._trouble = trouble
        if changed and self._report and not self._closed:
            self._report(not trouble, trouble or "The speech engine works again.")

    def _forget(self, job: _Job) -> None:
        with self._lock:
            self._waiting.pop(job.text, None)

    def _give_up_waiting(self) -> None:
        with self._lock:
            for future in self._waiting.values():
                future.set_exception(SpeechError("The program is ending."))
            self._waiting.clear()

    def _trim(self) -> None:
        try:
            self._store.trim()
        except OSError as error:
            self.store_trouble = f"The clips in {self._store.folder} cannot be counted ({error})."


def _failed(sentence: str) -> Future[Clip]:
    future: Future[Clip] = Future()
    future.set_exception(SpeechError(sentence))
    return future


def _done(clip: Clip) -> Future[Clip]:
    future: Future[Clip] = Future()
    future.set_result(clip)
    return future
