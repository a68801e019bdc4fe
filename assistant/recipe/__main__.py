"""Makes the speech model, or runs one stage of making it.

`make` does everything on a machine that has the recordings, the voices and a GPU; the other stages are its parts.
"""

from __future__ import annotations

import argparse
from pathlib import Path


def _collect(given: argparse.Namespace) -> None:
    from assistant.recipe import make

    make.collect(given.audio, given.voices, given.procedures, given.data, given.fast_hours, given.seed)


def _speak_worker(given: argparse.Namespace) -> None:
    from assistant.clock import SystemClock
    from assistant.recipe import kokoro

    clock = SystemClock()
    limit_ms = given.seconds * 1000
    kokoro.run_worker(given.data, str(given.kokoro), given.number, given.seed, given.device, lambda: clock.now_ms() < limit_ms)


def _speak(given: argparse.Namespace) -> None:
    from assistant.recipe import stages

    codes = stages.speak(given.data, given.kokoro, given.workers, given.seconds, given.device.split(","), given.seed)
    print(f"{codes.count(0)} of {len(codes)} speakers ended well")


def _train(given: argparse.Namespace) -> None:
    from assistant.recipe import stages

    stages.train(given.data, given.out, given.seconds, stages.plan(given), given.device.split(","), given.capacity_h)


def _blend(given: argparse.Namespace) -> None:
    from assistant.recipe import blending

    shares = given.shares or [1 / len(given.checkpoints)] * len(given.checkpoints)
    print(blending.blend(given.data, given.checkpoints, shares, given.out, given.device, given.capacity_h, given.batch_s))


def _export(given: argparse.Namespace) -> None:
    from assistant.recipe import make

    print(make.export(given.checkpoint, given.out), "words")


def _make(given: argparse.Namespace) -> None:
    from assistant.recipe import make

    make.everything(given)


def _card(given: argparse.Namespace) -> None:
    from assistant.recipe import card

    print(card.facts(given.model))


def _paths(parser: argparse.ArgumentParser, *names: str) -> None:
    for name in names:
        parser.add_argument(f"--{name}", type=Path, required=True, metavar="DIR" if name != "checkpoint" else "FILE")


def _sources(parser: argparse.ArgumentParser) -> None:
    _paths(parser, "audio", "voices")
    parser.add_argument("--procedures", type=Path, default=Path("protocol/procedures"), metavar="DIR")
    parser.add_argument("--seed", type=int, default=0, help="of all draws")
    parser.add_argument("--fast-hours", type=float, default=3.2, help="hours of speech from the quick engines")


def _training(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--shape", default="320x640x160", help="front, hidden and bottleneck width")
    parser.add_argument("--batch-s", type=float, default=1000.0, help="seconds of audio in a batch")
    parser.add_argument("--peak", type=float, default=2.5e-3, help="highest learning rate")
    parser.add_argument("--people", type=float, default=1.0, help="factor on the share of recorded people")
    parser.add_argument("--dropped", type=float, default=0.0, help="share of outputs left out in training")
    parser.add_argument("--start", default="", help="checkpoint or model folder to go on from")
    parser.add_argument("--average", type=float, default=0.999, help="decay of the running average of the weights")
    parser.add_argument("--capacity-h", type=float, default=80.0, help="hours of speech the device can hold")


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m assistant.recipe", description=__doc__)
    stage = parser.add_subparsers(required=True, metavar="STAGE")

    def add(name: str, run: object, text: str) -> argparse.ArgumentParser:
        sub = stage.add_parser(name, help=text, description=text)
        sub.set_defaults(run=run)
        return sub

    whole = add("make", _make, "everything, from recordings and voices to a model directory")
    _sources(whole)
    _paths(whole, "out")
    _training(whole)
    whole.add_argument("--work", type=Path, default=Path("model-work"), metavar="DIR", help="where the corpus is put")
    whole.add_argument("--speak-s", type=float, default=300.0, help="seconds given to the Kokoro voices")
    whole.add_argument("--train-s", type=float, default=1400.0, help="seconds given to training")
    whole.add_argument("--workers", type=int, default=14)
    whole.add_argument("--device", default="cuda:0", help="devices, parted by commas; all speak, then all train")
    collect = add("collect", _collect, "texts, quick voices, people, noises, rooms and voice weights into one folder")
    _sources(collect)
    _paths(collect, "data")
    for name, run, text in (("speak-worker", _speak_worker, "one Kokoro process"), ("speak", _speak, "many Kokoro processes")):
        sub = add(name, run, text)
        _paths(sub, "data", "kokoro")
        sub.add_argument("--number", type=int, default=0)
        sub.add_argument("--workers", type=int, default=14)
        sub.add_argument("--seconds", type=float, required=True)
        sub.add_argument("--device", default="cuda:0")
        sub.add_argument("--seed", type=int, default=0, help="of all draws")
    train = add("train", _train, "train on a collected folder")
    _paths(train, "data", "out")
    train.add_argument("--seconds", type=float, required=True)
    train.add_argument("--seed", type=int, default=0, help="of all draws")
    train.add_argument("--device", default="cuda:0", help="devices that train together, parted by commas")
    _training(train)
    blend = add("blend", _blend, "the mean of several checkpoints that began as one net")
    _paths(blend, "data", "out")
    blend.add_argument("checkpoints", type=Path, nargs="+", metavar="FILE")
    blend.add_argument("--shares", type=float, nargs="+", help="weight of each, in all 1; equal if left out")
    blend.add_argument("--device", default="cuda:0")
    blend.add_argument("--batch-s", type=float, default=1000.0, help="seconds of audio in a batch")
    blend.add_argument("--capacity-h", type=float, default=80.0, help="hours of speech the device can hold")
    export = add("export", _export, "a checkpoint into a model directory")
    _paths(export, "checkpoint", "out")
    card = add("card", _card, "what can be read off a model directory")
    _paths(card, "model")
    return parser


def main() -> None:
    """Parse and run."""
    given = _parser().parse_args()
    given.run(given)


if __name__ == "__main__":
    main()
