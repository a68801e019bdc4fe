"""`drill`: a scenario led on a headset, by keyboard or from a recording, with the trainer's channel and its facts."""

import io
import json
import sys
from argparse import Namespace
from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from assistant.app import Built, Wishes, default_journal, live_station, recorded_station
from assistant.clock import Clock, ManualClock, SystemClock
from assistant.commands.running import UNFINISHED, open_board, show, story
from assistant.commands.sound_keeping import keep_sound
from assistant.drill.channel import HELP as TRAINER_HELP
from assistant.drill.channel import Channel
from assistant.drill.director import Director
from assistant.drill.going_on import follow
from assistant.drill.noise import noise_loop
from assistant.drill.pausing import OwnTime, PausableClock
from assistant.drill.preparing import begin, dry_run, prepare
from assistant.drill.recordings import noise_of, shipped_recording, with_noise
from assistant.drill.scenarios import Loaded, every_shipped, load_scenario
from assistant.drill.telling import facts
from assistant.errors import AudioError, UsageError
from assistant.hearing.files import FileSource
from assistant.incident import Incident, open_incident
from assistant.journal import Record
from assistant.keyboard import HELP, read_lines
from assistant.library import bin_on_card
from assistant.live import Loop
from assistant.rehearsal import Score as Heard
from assistant.rehearsal import play, read_script, timed
from assistant.speaking.background import Background
from protocol.commands import Origin, Role
from protocol.score import Tally
from protocol.site import Bin
from protocol.state import DRILL, State

FOLDER = Path("drills")
"""Records of drills are kept apart from those of incidents."""
SHIPPED = Path("shipped")
"""What --audio without a file stands for."""


@dataclass(frozen=True, slots=True)
class _Stage:
    """Everything of one drill that is the same on a headset and from a recording."""

    loaded: Loaded | None
    """What it begins with; None when it goes on after a stop."""
    incident: Incident
    director: Director
    tally: Tally
    path: Path

    def prepare(self, *, quiet: bool) -> None:
        """Do what was done before the crew comes in; from then on what happens is told at the terminal."""
        session = self.incident.session
        follow(self.incident.history, self.count)
        session.react_with(self.count)
        if self.loaded is not None:
            prepare(session, self.loaded, self.incident.clock.now_ms())
        if not quiet:
            session.react_with(story(session.book))

    def begin(self) -> None:
        """Tell the crew; when it goes on they know."""
        if self.loaded is not None:
            begin(self.incident.session, self.loaded, self.incident.clock.now_ms())

    def count(self, record: Record, _state: State) -> None:
        """Count one record."""
        self.tally.take(record.events)
        self.tally.hear(record.command)

    def facts(self) -> Iterable[str]:
        """The score so far, as lines."""
        return facts(self.tally.score(), self.incident.session.book.procedure)


def drill(options: Namespace) -> int:
    """Lead a drill, or list what is shipped."""
    if options.list:
        return _list()
    if options.scenario is None:
        raise UsageError("Name a scenario, or see them all: bin-rescue drill --list")
    loaded = load_scenario(options.scenario, options.procedure, options.site)
    dry_run(loaded)
    if options.audio is not None:
        return _from_recording(options, loaded)
    if options.fast:
        raise UsageError("--fast is for a recording: add --audio. People cannot be hurried; see --pace.")
    return _live(options, loaded)


def _list() -> int:
    for one in every_shipped():
        row = one.scenario
        print(f"{row.id:22s} {row.title} (about {row.minutes:g} min). {row.aim}.")
    print("Run one: bin-rescue drill NAME. From its recording, without a headset: bin-rescue drill NAME --audio --fast")
    return 0


def _stage(options: Namespace, loaded: Loaded, clock: Clock) -> _Stage:
    path = options.journal or FOLDER / default_journal().name
    incident = open_incident(loaded.source, path, DRILL, clock, loaded.kept(options.pace))
    director = Director(loaded.scenario, incident.session.book, options.pace)
    return _Stage(loaded, incident, director, Tally(loaded.book.procedure), path)


def _from_recording(options: Namespace, loaded: Loaded) -> int:
    recording = shipped_recording(loaded.scenario.id) if options.audio == SHIPPED else options.audio
    script = options.script or recording.with_suffix(".json")
    lines = read_script(script) if options.script or script.exists() else None
    source = FileSource(recording)
    clock: Clock = ManualClock() if options.fast else SystemClock()
    built = recorded_station(loaded.book, Wishes(model=options.model, save_audio=options.save_audio), clock)
    stage = _stage(options, loaded, clock)
    heard = Heard(lines)
    noise = noise_loop(options.noise, options.noise_db) if options.noise else None
    if noise is None and lines is not None:
        noise = noise_of(script)
    try:
        stage.prepare(quiet=options.json)
        for reaction in (built.station.react, stage.director.react):
            stage.incident.session.react_with(reaction)
        stage.begin()
        blocks = with_noise(source.blocks(), noise)
        posts = (stage.director,)
        _played_s, wall_s = timed(
            lambda: play(stage.incident, built.station, blocks, heard, lambda _played_s: None, posts)
        )
    finally:
        built.close()
        stage.incident.journal.close()
        source.close()
    for line in heard.missed:
        print(f"Not understood at {line.start_s:.1f} s: {line.text}", file=sys.stderr)
    return _finish(options, stage, {
        "false_advances": heard.false_advances, "missed": heard.missed_count, "wall_s": round(wall_s, 2),
    })  # fmt: skip


def _live(options: Namespace, loaded: Loaded) -> int:
    machine = SystemClock()
    built = live_station(loaded.book, _wishes(options), machine, show)
    clock = PausableClock(machine)
    stage, drawn = _stage(options, loaded, clock), bin_on_card(loaded.site, options.bin)
    return _lead(options, stage, built, (machine, clock), drawn)


def go_on(options: Namespace, resumed: Incident, director: Director, drawn: Bin | None) -> int:
    """Lead a drill that was stopped: its clock goes on from the last record, what was given is not given again.

    Args:
        options: of the command line.
        resumed: from its record.
        director: the scenario as it stood.
        drawn: the bin on the board.
    """
    machine = SystemClock()
    built = live_station(resumed.session.book, _wishes(options), machine, show)
    clock = PausableClock(machine, resumed.session.state.at_ms)
    if resumed.session.state.drill_paused:
        clock.pause()
    incident = replace(resumed, clock=clock)
    stage = _Stage(None, incident, director, Tally(incident.session.book.procedure), options.journal)
    return _lead(options, stage, built, (machine, clock), drawn)


def _wishes(options: Namespace) -> Wishes:
    return Wishes(
        Role(options.role), options.keyboard, options.mute, options.input, options.output, options.model,
        options.save_audio,
    )  # fmt: skip


def _lead(
    options: Namespace, stage: _Stage, built: Built, clocks: tuple[SystemClock, PausableClock], drawn: Bin | None
) -> int:
    machine, clock = clocks
    background = _background(options)
    board = None
    try:
        stage.prepare(quiet=False)
        session = stage.incident.session
        session.react_with(clock.react)
        loop = Loop(stage.incident, [OwnTime(built.station, machine), stage.director], show, built.station.warn)
        board = open_board(stage.incident, options, loop, built.troubles, drawn)
        show(HELP)
        show(TRAINER_HELP)
        show(f"Record: {stage.path}")
        stage.begin()
        built.station.listen_for(session.scene(clock.now_ms()))
        if options.keep_audio:
            built.troubles.extend(
                keep_sound(
                    stage.incident, stage.path, [built.station], show, lambda: machine.now_ms() - clock.now_ms()
                )
            )
        for trouble in built.troubles:
            loop.put(trouble)
        _read_keyboard(options, stage, loop)
        why = loop.run()
    finally:
        if board is not None:
            board.close()
        if background is not None:
            background.close()
        built.close()
        stage.incident.journal.close()
    show(f"Ended: {why}.")
    return _finish(options, stage, {})


def _read_keyboard(options: Namespace, stage: _Stage, loop: Loop) -> None:
    session = stage.incident.session
    if isinstance(sys.stdin, io.TextIOWrapper):
        sys.stdin.reconfigure(errors="replace")
    channel = Channel(stage.director, session.book, lambda: session.state, stage.facts, show)
    typist = Origin("crew", Role(options.role), "keyboard")
    typed = channel.crew_lines(sys.stdin, loop.put)
    read_lines(typed, loop.put, typist, lambda: session.state.step, ends_run=options.keyboard)


def _background(options: Namespace) -> Background | None:
    """The noise, if one is wanted; a loudspeaker that cannot be had is told to the trainer, not to the crew."""
    if not options.noise or options.mute:
        return None
    try:
        return Background(noise_loop(options.noise, options.noise_db), options.output)
    except AudioError as error:
        show(f"No background noise: {error}")
        return None


def _finish(options: Namespace, stage: _Stage, more: dict[str, object]) -> int:
    score = stage.tally.score()
    if options.json:
        print(json.dumps({**asdict(score), **more, "journal": str(stage.path)}, default=str))
    else:
        for line in stage.facts():
            show(line)
        if more:
            show(f"Recording: {more['missed']} phrases not understood, {more['false_advances']} false advances.")
        show(f"Record: {stage.path}. Debrief: bin-rescue report {stage.path}")
    return 0 if score.closed else UNFINISHED
