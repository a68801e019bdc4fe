"""The speech engine's process is watched: hung, dead and lying children cost a sentence, never the run."""

import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from assistant.clock import ManualClock, SystemClock, stopwatch_s
from assistant.errors import SpeechError
from assistant.speaking import levels
from assistant.speaking.voice_process import FIRST_BACK_OFF_MS, LONGEST_BACK_OFF_MS, VoiceProcess, is_available

FAKES = Path(__file__).with_name("fake_children.py")
Make = Callable[..., VoiceProcess]


def fake(mode: str) -> tuple[str, ...]:
    """The command of one fake child."""
    return (sys.executable, "-P", str(FAKES), mode)


@pytest.fixture
def make() -> Iterator[Make]:
    """Makes voice processes on a clock that stands still, and ends them."""
    made: list[VoiceProcess] = []

    def one(mode: str, clock: ManualClock | None = None, render_limit_ms: int = 3000) -> VoiceProcess:
        made.append(VoiceProcess(fake(mode), clock or ManualClock(), 3000, render_limit_ms))
        return made[-1]

    yield one
    for voice in made:
        voice.close()


def render(voice: VoiceProcess) -> bytes:
    """One ask."""
    return voice.render("Panel two set.", "gmw/en-us", 150, 1.0)


def test_a_child_that_hangs_is_killed(make: Make) -> None:
    """A render over its limit ends in one error in that time, and the process is gone."""
    voice = make("hangs", render_limit_ms=200)
    voice.facts()
    process = voice._child._process if voice._child else None
    started_s = stopwatch_s()
    with pytest.raises(SpeechError, match=r"no answer within 0\.2 s"):
        render(voice)
    assert process is not None
    assert process.poll() is not None
    assert stopwatch_s() - started_s < 1.0


def test_a_child_that_hangs_at_start_is_killed() -> None:
    """An engine that never gets ready is given up after the start limit."""
    voice = VoiceProcess(fake("hangs at start"), ManualClock(), start_limit_ms=200)
    assert (False, "The speech engine gave no answer within 0.2 s and was stopped.") == voice.is_available()


@pytest.mark.parametrize(
    ("mode", "words"),
    [
        ("dies", "ended by itself"),
        ("talks rubbish", "ended by itself"),
        ("answers another", "out of turn"),
        ("refuses", "no such voice"),
    ],
)
def test_every_failure_is_a_speech_error(make: Make, mode: str, words: str) -> None:
    """Whatever a child does wrong comes out as one coded error with a sentence."""
    with pytest.raises(SpeechError, match=words):
        render(make(mode))


def test_a_dead_child_is_started_again_after_its_back_off(make: Make) -> None:
    """Inside the back-off nothing is started; after it the engine is back."""
    clock = ManualClock()
    voice = make("hangs on the second", clock, render_limit_ms=200)
    render(voice)
    with pytest.raises(SpeechError):
        render(voice)
    with pytest.raises(SpeechError, match=r"tried again in 0\.5 s"):
        render(voice)
    clock.wait_ms(FIRST_BACK_OFF_MS)
    assert b"RIFF" == render(voice)[:4]


def test_the_back_off_doubles_up_to_its_limit(make: Make) -> None:
    """Each failure in a row doubles the wait, to at most 30 s."""
    clock = ManualClock()
    voice = make("no engine", clock)
    waits = []
    for _ in range(9):
        with pytest.raises(SpeechError, match="No speech engine"):
            render(voice)
        waits.append(voice._not_before_ms - clock.now_ms())
        clock.wait_ms(waits[-1])
    assert [min(LONGEST_BACK_OFF_MS, FIRST_BACK_OFF_MS * 2**n) for n in range(9)] == waits


def test_a_missing_engine_is_one_sentence_with_what_to_do() -> None:
    """Without an engine the user reads why, what to install, and that the run goes on."""
    works, sentence = is_available(fake("no engine"))
    assert not works
    assert "libespeak-ng.so.1 is missing" in sentence
    assert "apt install espeak-ng" in sentence
    assert "text" in sentence


def test_a_program_that_cannot_start_is_reported() -> None:
    """No such program is the same kind of error."""
    works, sentence = is_available(("/nonexistent/python",))
    assert not works
    assert "cannot be started" in sentence


def test_closing_ends_a_render_under_way(make: Make) -> None:
    """`close` from another thread does not wait for a hung child."""
    voice = make("hangs", render_limit_ms=60_000)
    voice.facts()
    failures: list[str] = []

    def ask() -> None:
        try:
            render(voice)
        except SpeechError as error:
            failures.append(error.code)

    thread = threading.Thread(target=ask)
    thread.start()
    while voice._asked == 0:
        thread.join(0.001)
    voice.close()
    thread.join(5)
    assert ["speech"] == failures


def test_the_real_engine_keeps_its_rate() -> None:
    """Twenty clips at changing rates each last as long as their rate says (espeak-ng: faster is shorter)."""
    voice = VoiceProcess()
    try:
        works, sentence = voice.is_available()
        assert works, sentence
        lengths: dict[int, set[int]] = {120: set(), 150: set(), 180: set()}
        for number in range(21):
            rate = (120, 150, 180)[number % 3]
            sound = voice.render("Panel two set. Drive it below the knees.", "", rate, 1.0)
            lengths[rate].add(levels.decode(sound).size)
    finally:
        voice.close()
    for found in lengths.values():
        assert max(found) - min(found) < levels.RATE_HZ // 20
    assert min(lengths[120]) > max(lengths[150]) > min(lengths[150]) > max(lengths[180])


def test_no_child_and_no_folder_stay_behind(make: Make) -> None:
    """After `close` the process has ended and its folder is gone."""
    voice = make("obeys")
    render(voice)
    assert voice._child is not None
    process, folder = voice._child._process, Path(voice._child._folder.name)
    voice.close()
    assert process.poll() is not None
    assert not folder.exists()


def test_the_engine_ends_with_the_program() -> None:
    """When the program is killed, a child that hangs in a render does not stay behind."""
    program = (
        "import sys\n"
        "from assistant.speaking.voice_process import VoiceProcess\n"
        "voice = VoiceProcess()\n"
        "voice.facts()\n"
        "print(voice._child._process.pid, flush=True)\n"
        "sys.stdin.read()\n"
    )
    command = [sys.executable, "-c", program]
    root = Path(__file__).parents[2]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=root) as parent:
        assert parent.stdout is not None
        child = int(parent.stdout.readline())
        assert _runs(child)
        parent.kill()
        parent.wait()
    clock = SystemClock()
    while _runs(child) and clock.now_ms() < 3000:
        clock.wait_ms(20)
    assert not _runs(child)


def _runs(pid: int) -> bool:
    """Whether a process runs; one that has ended and waits to be collected does not."""
    status = Path(f"/proc/{pid}/stat")
    try:
        return status.read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False
