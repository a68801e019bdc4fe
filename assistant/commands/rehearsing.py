"""`rehearse`: the procedure led from a recording, through the real recogniser, without sound hardware."""

import sys
from argparse import Namespace
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path

from assistant.app import Wishes, default_journal, recorded_station
from assistant.clock import Clock, ManualClock, SystemClock
from assistant.errors import UsageError
from assistant.hearing.files import FileSource
from assistant.incident import begin, open_incident
from assistant.journal import Record
from assistant.library import load_site, make_book, source_for
from assistant.rehearsal import Outcome, Score, play, read_script, steps_total, timed
from assistant.story import lines_of
from protocol.scene import Book
from protocol.state import State

UNFINISHED = 10
"""Exit status when the recording ended before the procedure did."""
BAR = 40


def rehearse(options: Namespace) -> int:
    """Play a recording to the program and say how it went."""
    recording = options.recording or shipped_recording()
    script = options.script or recording.with_suffix(".json")
    if options.script is None and not script.exists():
        script = None
    rules = source_for(options.procedure, load_site(options.site))
    book = make_book(rules)
    path = options.journal or default_journal()
    source = FileSource(recording)
    clock: Clock = ManualClock() if options.fast else SystemClock()
    built = recorded_station(book, Wishes(model=options.model, save_audio=options.save_audio), clock)
    incident = open_incident(rules, path, "rehearsal", clock)
    session = incident.session
    session.react_with(built.station.react)
    session.react_with(_teller(book, options.json))
    score = Score(read_script(script) if script else None)
    try:
        begin(incident, "rehearsal")
        played_s, wall_s = timed(
            lambda: play(incident, built.station, source.blocks(), score, _progress(source.audio_s, options.json))
        )
    finally:
        built.close()
        incident.journal.close()
        source.close()
    outcome = Outcome(
        completed=session.state.closed,
        steps_confirmed=session.state.steps_confirmed,
        steps_total=steps_total(incident),
        false_advances=score.false_advances,
        missed=score.missed_count,
        audio_s=round(played_s, 2),
        wall_s=round(wall_s, 2),
        journal=str(path),
    )
    for line in score.missed:
        print(f"Not understood at {line.start_s:.1f} s: {line.text}", file=sys.stderr)
    print(outcome.as_json() if options.json else _in_words(outcome))
    return 0 if outcome.completed else UNFINISHED


def shipped_recording() -> Path:
    """The drill that comes with the program.

    Raises:
        UsageError: if it was not installed.
    """
    path = Path(str(files("audio_fixtures") / "drill.flac"))
    if not path.exists():
        raise UsageError(f"The shipped recording is not at {path}. Name a recording: bin-rescue rehearse FILE.wav")
    return path


def _in_words(outcome: Outcome) -> str:
    judged = (
        "no script to judge it by"
        if outcome.missed is None
        else f"{outcome.missed} phrases not understood, {outcome.false_advances} false advances"
    )
    ended = "Completed" if outcome.completed else "Not completed"
    return (
        f"{ended}: {outcome.steps_confirmed} steps confirmed; {judged}. "
        f"{outcome.audio_s:.0f} s of sound in {outcome.wall_s:.0f} s. Record: {outcome.journal}"
    )


def _teller(book: Book, quiet: bool) -> Callable[[Record, State], None]:
    def tell(record: Record, _state: State) -> None:
        if not quiet:
            for line in lines_of(record, book):
                print(line, flush=True)

    return tell


def _progress(total_s: float, quiet: bool) -> Callable[[float], None]:
    shown = [-1]

    def show(played_s: float) -> None:
        done = int(played_s / total_s * BAR)
        if quiet and sys.stderr.isatty() and done != shown[0]:
            shown[0] = done
            sys.stderr.write(f"\r[{'#' * done:{BAR}s}] {played_s:4.0f} of {total_s:.0f} s ")

    return show
