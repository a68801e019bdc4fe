"""The command `bin-rescue`: argument parsing only."""

import argparse
import os
import sys
from collections.abc import Sequence
from pathlib import Path

from assistant import commands
from assistant.errors import AssistantError
from protocol.errors import ProtocolError

DESCRIPTION = (
    "A voice in a rescuer's headset for grain-bin entrapment. It advises: the incident commander decides; local "
    "procedure and medical direction come first."
)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command.

    Args:
        arguments: without the program's name; the process's own when None.

    Returns:
        0 when all went well, the error's own number otherwise.
    """
    options = parser().parse_args(arguments)
    try:
        status: int = options.work(options)
    except (AssistantError, ProtocolError) as error:
        print(f"bin-rescue: {error}", file=sys.stderr)
        return getattr(error, "exit_status", 1)
    except KeyboardInterrupt:
        print("Stopped. Go on with: bin-rescue resume FILE", file=sys.stderr)
        return 130
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 141
    return status


def parser() -> argparse.ArgumentParser:
    """Every command and its options."""
    top = argparse.ArgumentParser(prog="bin-rescue", description=DESCRIPTION)
    subs = top.add_subparsers(required=True, metavar="COMMAND")
    _run(subs)
    _stations(subs)
    _drill(subs)
    _rehearse(subs)
    _hear(subs)
    _records(subs)
    check = subs.add_parser("check", help="check a procedure file (the shipped one without a file)")
    check.add_argument("procedure", type=Path, nargs="?", metavar="PROCEDURE")
    check.add_argument("--site", type=Path, metavar="FILE", help="site card to check with it")
    check.add_argument("--svg", type=Path, metavar="FILE.svg", help="draw the procedure")
    check.add_argument("--card", type=Path, metavar="FILE.html", help="the card of phrases (see: bin-rescue card)")
    check.add_argument("--model", type=Path, metavar="DIR", help="speech model whose vocabulary is checked")
    check.set_defaults(work=commands.check)
    card = subs.add_parser("card", help="the phrases on one page, to print")
    card.add_argument("procedure", type=Path, nargs="?", metavar="PROCEDURE")
    card.add_argument("--site", type=Path, metavar="FILE", help="the department's site card: its name and own words")
    card.add_argument("--role", choices=("inside", "outside", "both"), default="both", help="only what this side says")
    card.add_argument("-o", "--out", type=Path, default=Path("card.pdf"), metavar="FILE", help="card.pdf or card.html")
    card.set_defaults(work=commands.card)
    estimate = subs.add_parser("estimate", help="every estimate that a site card allows, with its range and source")
    estimate.add_argument("site", type=Path, metavar="SITE.toml")
    estimate.add_argument("--json", action="store_true", help="one JSON object")
    estimate.set_defaults(work=commands.estimate)
    devices = subs.add_parser("devices", help="list sound devices; --test asks for a radio check and gives a verdict")
    devices.add_argument("--test", type=float, nargs="?", const=10.0, metavar="SECONDS",
                         help="a spoken radio check on one headset, waited for so long (default 10)")  # fmt: skip
    devices.add_argument("--input", metavar="NAME", help="microphone to test")
    devices.add_argument("--output", metavar="NAME", help="headphone or speaker of that headset")
    devices.add_argument("--model", type=Path, metavar="DIR", help="another vosk model")
    devices.set_defaults(work=commands.devices)
    return top


def _run(subs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    run = subs.add_parser("run", help="lead a live incident or drill")
    _live_options(run)
    run.add_argument("--procedure", type=Path, metavar="FILE", help="procedure file instead of the shipped one")
    run.add_argument("--drill", action="store_true", help="a drill, not an incident")
    _shared_options(run)
    run.add_argument("--journal", type=Path, metavar="FILE", help="record file (default: incidents/DATE.jsonl)")
    run.set_defaults(work=commands.run)
    resume = subs.add_parser("resume", help="go on with an incident after a stop")
    resume.add_argument("journal", type=Path, metavar="FILE")
    _live_options(resume)
    _noise_options(resume)
    resume.add_argument("--show", action="store_true", help="only say where it stands, as JSON")
    _shared_options(resume)
    resume.set_defaults(work=commands.resume, json=False)


def _headset_options(sub: argparse.ArgumentParser) -> None:
    sub.add_argument("--keyboard", action="store_true", help="type the phrases; no microphone is needed")
    sub.add_argument("--mute", action="store_true", help="no loudspeaker: show the prompts only")
    sub.add_argument("--role", choices=("inside", "outside", "both"), default="both", help="whose headset this is")
    sub.add_argument("--input", metavar="NAME", help="microphone (see: bin-rescue devices)")
    sub.add_argument("--output", metavar="NAME", help="headphone or speaker")
    sub.add_argument("--model", type=Path, metavar="DIR", help="another vosk model")
    sub.add_argument("--save-audio", type=Path, metavar="FILE.wav", help="write what the station heard")


def _live_options(sub: argparse.ArgumentParser) -> None:
    _headset_options(sub)
    sub.add_argument("--site", type=Path, metavar="FILE", help="the department's site card")
    sub.add_argument("--bin", metavar="NAME", help="which bin of the site card the board draws (default: the only one)")
    sub.add_argument("--port", type=int, default=8470, help="port of the officer's board (default 8470; 0: any)")
    sub.add_argument("--lan", action="store_true", help="show the board to the network, not only to this machine")
    sub.add_argument("--no-board", action="store_true", help="no board")
    sub.add_argument("--keep-audio", action="store_true", help="keep what the microphone hears beside the record")


def _shared_options(sub: argparse.ArgumentParser) -> None:
    sub.add_argument("--headset", action="append", metavar="NAME:ROLE[:MICROPHONE|SPEAKER]",
                     help="one of several headsets of this machine; may be given again")  # fmt: skip
    _broker_options(sub)


def _broker_options(sub: argparse.ArgumentParser) -> None:
    sub.add_argument("--broker", metavar="URL", help="share the incident over a broker: mqtt://127.0.0.1 or mqtts://HOST")
    sub.add_argument("--credentials", type=Path, metavar="FOLDER", help="this station's own folder of credentials")
    sub.add_argument("--name", metavar="NAME", help="what this station is called")


def _stations(subs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    station = subs.add_parser("station", help="be one headset of an incident that another computer leads")
    _headset_options(station)
    _joining_options(station)
    station.add_argument("--outbox", type=Path, metavar="FILE", help="what is still to be sent (default: stations/…)")
    station.set_defaults(work=commands.station, role="")
    more = station.add_subparsers(metavar="credentials")
    make = more.add_parser("credentials", help="make credentials for a broker and its stations")
    make.add_argument("folder", type=Path, metavar="FOLDER", help="of the department; a later call adds stations")
    make.add_argument("stations", nargs="+", metavar="NAME:SORT",
                      help="sort: inside, outside, both, lead, standby, or gone")  # fmt: skip
    make.add_argument("--broker", action="append", default=[], metavar="HOST", help="name or address of the broker")
    make.set_defaults(work=commands.credentials)
    standby = subs.add_parser("standby", help="copy an incident's record; lead it when the officer orders it")
    standby.add_argument("--journal", type=Path, required=True, metavar="FILE", help="file of the copy")
    _live_options(standby)
    _joining_options(standby)
    standby.set_defaults(work=commands.standby)


def _joining_options(sub: argparse.ArgumentParser) -> None:
    _broker_options(sub)
    sub.add_argument("--incident", metavar="ID", help="which incident (default: the only one that is open)")
    sub.add_argument("--wait", action="store_true", help="wait for an incident to be opened")


def _drill(subs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    drill = subs.add_parser("drill", help="rehearse a scenario with surprises; ends with the facts, never with a grade")
    drill.add_argument("scenario", nargs="?", metavar="SCENARIO", help="name of a shipped scenario, or a file")
    drill.add_argument("--list", action="store_true", help="the shipped scenarios")
    drill.add_argument("--audio", type=Path, nargs="?", const=Path("shipped"), metavar="FILE.wav",
                       help="from a recording (without a name: the one that comes with the scenario)")  # fmt: skip
    drill.add_argument("--script", type=Path, metavar="FILE.json", help="what is said when in the recording")
    drill.add_argument("--fast", action="store_true", help="a recording as fast as the machine allows")
    drill.add_argument("--pace", type=_pace, metavar="N", help="simulated vacuum N times as fast as in earnest")
    _noise_options(drill)
    drill.add_argument("--procedure", type=Path, metavar="FILE", help="procedure file instead of the shipped one")
    drill.add_argument("--journal", type=Path, metavar="FILE", help="record file (default: drills/DATE.jsonl)")
    drill.add_argument("--json", action="store_true", help="end with the facts as one JSON line")
    _live_options(drill)
    drill.set_defaults(work=commands.drill)


def _noise_options(sub: argparse.ArgumentParser) -> None:
    sub.add_argument("--noise", choices=("fan", "vacuum", "shouting"), help="in a drill: background noise")
    sub.add_argument("--noise-db", type=_level, default=10.0, metavar="N",
                     help="so many dB under the voice (default 10; -5 is louder than it)")  # fmt: skip


def _pace(text: str) -> float:
    return _between(text, 1, 60)


def _level(text: str) -> float:
    return _between(text, -20, 60)


def _between(text: str, low: float, high: float) -> float:
    try:
        number = float(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"'{text}' is no number") from error
    if not low <= number <= high:
        raise argparse.ArgumentTypeError(f"{text} is not between {low:g} and {high:g}")
    return number


def _rehearse(subs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    rehearse = subs.add_parser("rehearse", help="run from a recording through the real recogniser; no sound hardware")
    rehearse.add_argument("recording", type=Path, nargs="?", metavar="FILE.wav", help="default: the shipped drill")
    rehearse.add_argument("--script", type=Path, metavar="FILE.json", help="what is said when")
    rehearse.add_argument("--fast", action="store_true", help="as fast as the machine allows")
    rehearse.add_argument("--json", action="store_true", help="end with one JSON line")
    rehearse.add_argument("--procedure", type=Path, metavar="FILE")
    rehearse.add_argument("--site", type=Path, metavar="FILE", help="the department's site card")
    rehearse.add_argument("--journal", type=Path, metavar="FILE", help="record file (default: incidents/DATE.jsonl)")
    rehearse.add_argument("--model", type=Path, metavar="DIR", help="another vosk model")
    rehearse.add_argument("--save-audio", type=Path, metavar="FILE.wav", help="write what the station heard")
    rehearse.set_defaults(work=commands.rehearse)


def _hear(subs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    hear = subs.add_parser("hear", help="will it understand me? recordings against a list of phrases")
    hear.add_argument("audio", type=Path, nargs="+", metavar="AUDIO", help="WAV or FLAC")
    hear.add_argument("--phrases", type=Path, metavar="LIST.txt", help="one phrase a line (default: the procedure's)")
    hear.add_argument("--json", action="store_true", help="one JSON line for each recording")
    hear.add_argument("--model", type=Path, metavar="DIR", help="another vosk model")
    hear.set_defaults(work=commands.hear)


def _records(subs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    replay = subs.add_parser("replay", help="tell the story of a record and verify it")
    replay.add_argument("journal", type=Path, metavar="FILE")
    replay.add_argument("--verify", action="store_true", help="only verify")
    replay.set_defaults(work=commands.replay)
    report = subs.add_parser("report", help="the debrief of a record: page, PDF, CSV and JSON")
    report.add_argument("journal", type=Path, metavar="FILE")
    report.add_argument("--out", type=Path, metavar="FOLDER", help="where to write (default: beside the record)")
    report.add_argument("--site", type=Path, metavar="CARD", help="site card, for the department's name")
    report.add_argument("--audio", action="store_true", help="play what was said, where it was kept (see --keep-audio)")
    report.set_defaults(work=commands.report)
    _archive(subs)


def _archive(subs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    archive = subs.add_parser("archive", help="many records in one database: trends, and an export without names")
    words = archive.add_subparsers(required=True, dest="what", metavar="WHAT")
    add = words.add_parser("add", help="add records; the same one twice changes nothing")
    add.add_argument("journal", type=Path, nargs="+", metavar="FILE")
    add.add_argument("--site", type=Path, metavar="CARD", help="site card, for the department's name")
    add.add_argument("--place", default="", metavar="NAME", help="where the drill was held")
    add.add_argument("--damaged", action="store_true", help="take records that were changed or damaged, marked as such")
    listing = words.add_parser("list", help="archived records, the newest first")
    listing.add_argument("--most", type=int, metavar="N", help="at most so many")
    trend = words.add_parser("trend", help="does it get better? medians by month, quarter or year")
    trend.add_argument("--by", default="stage", metavar="WHAT", help="stage, crew, scenario, department or all")
    trend.add_argument("--every", default="month", metavar="STRETCH", help="month, quarter or year")
    trend.add_argument("--measure", default="time", metavar="WHAT", help="time, or a count such as refused")
    trend.add_argument("--stage", default="", metavar="STAGE", help="time in this stage only")
    trend.add_argument("--svg", type=Path, metavar="FILE.svg", help="draw it")
    trend.add_argument("--png", type=Path, metavar="FILE.png", help="draw it")
    export = words.add_parser("export", help="CSV without names, places and free text")
    export.add_argument("--out", type=Path, required=True, metavar="FOLDER")
    for sub in (listing, trend):
        sub.add_argument("--json", action="store_true", help="one JSON line")
    for sub in (listing, trend, export):
        sub.add_argument("--kind", default="", metavar="KIND", help="only live, drill or rehearsal")
    for sub in (add, listing, trend, export):
        sub.add_argument("--db", metavar="URL", help="sqlite:///FILE or postgresql://USER@HOST/NAME")
        sub.add_argument("--department", default="", metavar="NAME")
        sub.add_argument("--crew", default="", metavar="NAME")
        sub.add_argument("--scenario", default="", metavar="NAME")
        sub.set_defaults(work=commands.archive)


if __name__ == "__main__":
    sys.exit(main())
