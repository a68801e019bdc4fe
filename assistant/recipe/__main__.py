"""`python -m assistant.recipe`: make the speech model, or any one stage of it."""

from __future__ import annotations

import argparse
from pathlib import Path


def _speak_worker(given: argparse.Namespace) -> None:
    from assistant.clock import SystemClock
    from assistant.recipe import kokoro

    clock = SystemClock()
    limit_ms = given.seconds * 1000
    kokoro.run_worker(given.data, str(given.kokoro), given.number, given.device, lambda: clock.now_ms() < limit_ms)


def _speak(given: argparse.Namespace) -> None:
    from assistant.recipe import stages

    print(stages.speak(given.data, given.kokoro, given.workers, given.seconds, given.device.split(",")))


def _train(given: argparse.Namespace) -> None:
    from assistant.recipe import stages, training

    late = {"clean_steps": 0, "ramp_steps": 1} if given.start else {}
    plan = training.Plan(
        stages.named_shape(given.shape), batch_s=given.batch_s, peak=given.peak, people=given.people, start=given.start,
        seed=given.seed, **late,
    )  # fmt: skip
    stages.train(given.data, given.out, given.seconds, plan, given.device, given.capacity_h)


def main() -> None:
    """Parse and run."""
    parser = argparse.ArgumentParser(prog="python -m assistant.recipe", description=__doc__)
    stage = parser.add_subparsers(required=True)
    for name, run in (("speak-worker", _speak_worker), ("speak", _speak)):
        sub = stage.add_parser(name)
        sub.set_defaults(run=run)
        sub.add_argument("--data", type=Path, required=True)
        sub.add_argument("--kokoro", type=Path, required=True)
        sub.add_argument("--number", type=int, default=0)
        sub.add_argument("--workers", type=int, default=14)
        sub.add_argument("--seconds", type=float, required=True)
        sub.add_argument("--device", default="cuda:0")
    sub = stage.add_parser("train")
    sub.set_defaults(run=_train)
    sub.add_argument("--data", type=Path, required=True)
    sub.add_argument("--out", type=Path, required=True)
    sub.add_argument("--seconds", type=float, required=True)
    sub.add_argument("--shape", default="256x512x128")
    sub.add_argument("--batch-s", type=float, default=1000.0)
    sub.add_argument("--peak", type=float, default=2.5e-3)
    sub.add_argument("--people", type=float, default=1.0)
    sub.add_argument("--start", default="")
    sub.add_argument("--seed", type=int, default=0)
    sub.add_argument("--capacity-h", type=float, default=80.0)
    sub.add_argument("--device", default="cuda:0")
    given = parser.parse_args()
    given.run(given)


if __name__ == "__main__":
    main()
