"""The two long stages on a machine with GPUs: many Kokoro speakers at once, and the training loop with its log."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import torch

from assistant.clock import SystemClock
from assistant.recipe import pool as clips
from assistant.recipe import together, training
from assistant.recipe.network import Shape

if TYPE_CHECKING:
    import argparse
    from pathlib import Path

REFRESH_MS: Final = 40_000
LOG_MS: Final = 15_000
SAVE_MS: Final = 75_000


def speak(folder: Path, model: Path, workers: int, seconds: float, devices: list[str], seed: int) -> list[int]:
    """Run `workers` Kokoro processes spread over `devices` for `seconds`; returns their exit codes."""
    command = [
        sys.executable, "-m", "assistant.recipe", "speak-worker", "--data", str(folder), "--kokoro", str(model), "--seed", str(seed),
    ]  # fmt: skip
    running = [
        subprocess.Popen(
            [*command, "--number", str(number), "--seconds", str(seconds), "--device", devices[number % len(devices)]]
        )
        for number in range(workers)
    ]
    return [process.wait() for process in running]


def load_pool(folder: Path, device: str, capacity_h: float) -> tuple[clips.Pool, set[str]]:
    """Everything that lies in a corpus folder now, and the names of the Kokoro files taken."""
    pool = clips.Pool(device, capacity_h)
    for index in sorted(folder.glob("*.json")):
        if index.stem == "human" or index.stem.startswith("fast"):
            clips.add_pack(pool, folder, index.stem)
    seen: set[str] = set()
    take_new_shards(pool, folder, seen)
    return pool, seen


def take_new_shards(pool: clips.Pool, folder: Path, seen: set[str]) -> int:
    """Add Kokoro files that arrived since; returns how many."""
    new = [path for path in sorted(folder.glob("kokoro_*.npz")) if path.name not in seen and ".part" not in path.name]
    for path in new:
        clips.add_shard(pool, path)
        seen.add(path.name)
    return len(new)


@torch.no_grad()
def held_out_loss(trainer: training.Trainer, held: list[clips.Bucket], pool: clips.Pool, strength: float) -> float:
    """Loss per phone of the averaged net on tuning speakers, with noise of the given strength, same draws every time."""
    total = torch.zeros((), device=pool.device)
    phones = torch.zeros((), device=pool.device)
    measure = training.loss_for(pool.device)
    with torch.random.fork_rng([] if pool.device == "cpu" else [pool.device]):
        torch.manual_seed(1)
        for bucket in held:
            batch = clips.draw_batch(pool, bucket, 64, trainer.sounds, trainer.mfcc, strength)
            net = trainer.mean_net
            each = measure(net(net.pad(batch.features)).log_softmax(2), batch.phones, batch.silence_ok, batch.counts)
            total += torch.where(each < 4000, each, torch.zeros_like(each)).sum()
            phones += batch.counts.sum()
    return float(total / phones.clamp(min=1))


def train(folder: Path, out: Path, seconds: float, goal: training.Plan, devices: list[str], capacity_h: float) -> None:
    """Train for `seconds`, one process a device; writes OUT/latest.pt every minute or so, OUT/log.jsonl, and OUT/final.pt.

    Kokoro files that appear in `folder` meanwhile join in.
    """
    out.mkdir(parents=True, exist_ok=True)
    together.on_each(devices, _train, folder, out, seconds, goal, capacity_h)


@dataclass(slots=True)
class _Run:
    """One process's part of a training run: when it logs, saves and takes in new speech."""

    ranks: together.Ranks
    trainer: training.Trainer
    tuning: clips.Pool
    folder: Path
    out: Path
    seen: set[str]
    clock: SystemClock = field(default_factory=SystemClock)
    held: list[clips.Bucket] = field(init=False)
    last: dict[str, int] = field(init=False)
    total: Any = 0.0
    steps: int = 0

    def __post_init__(self) -> None:
        self.held = clips.buckets(self.tuning)
        self.last = dict.fromkeys(("log", "save", "refresh"), self.clock.now_ms())

    def due(self, what: str, limit_ms: int) -> float:
        """1 if `what` was last done longer ago than that, else 0."""
        return float(self.clock.now_ms() - self.last[what] > limit_ms)

    def note(self, line: dict[str, Any]) -> None:
        """The first process writes a line of the log."""
        if self.ranks.first:
            print(line, flush=True)
            with (self.out / "log.jsonl").open("a", encoding="utf-8") as file:
                file.write(json.dumps(line) + "\n")

    def save(self, name: str, batches: int) -> None:
        """All average their norms' statistics; the first writes the checkpoint and measures it."""
        apart = self.trainer.meet()
        if self.ranks.first:
            self.trainer.save(self.out / name, batches)
            losses = {level: held_out_loss(self.trainer, self.held, self.tuning, level) for level in (0.0, 1.0)}
            named = {f"held_out_{level}": round(loss, 4) for level, loss in losses.items()}
            self.note({"step": self.trainer.step, **named, "apart": apart})
        self.last["save"] = self.clock.now_ms()

    def refresh(self) -> None:
        """Take in speech that arrived."""
        if take_new_shards(self.trainer.pool, self.folder, self.seen):
            self.trainer.refresh()
            self.note({"hours": self.trainer.pool.hours()})
        self.last["refresh"] = self.clock.now_ms()

    def advance(self, elapsed_ms: float, whole_ms: float) -> None:
        """One step, logged now and then."""
        self.total = self.total + self.trainer.advance(elapsed_ms / whole_ms)
        self.steps += 1
        if self.due("log", LOG_MS) or self.trainer.step in (1, 10):
            heard = round(self.ranks.count * self.trainer.audio_s / 3600, 1)
            mean = round(float(self.total) / self.steps, 4)
            self.note({"step": self.trainer.step, "s": elapsed_ms // 1000, "loss": mean, "audio_h": heard})
            self.total, self.steps, self.last["log"] = 0.0, 0, self.clock.now_ms()


def _train(ranks: together.Ranks, device: str, folder: Path, out: Path, seconds: float, goal: training.Plan, capacity_h: float) -> None:
    pool, seen = load_pool(folder, device, capacity_h)
    tuning = clips.Pool(device, 3.0)
    clips.add_pack(tuning, folder, "human", "tune")
    trainer = training.Trainer(goal, pool, training.load_sounds(folder, device), ranks)
    run = _Run(ranks, trainer, tuning, folder, out, seen)
    run.note({"net": training.describe(trainer), "hours": pool.hours()})
    if goal.start:
        run.save("latest.pt", 4)
    started = run.clock.now_ms()
    while True:
        told = [run.clock.now_ms() - started, run.due("refresh", REFRESH_MS), run.due("save", SAVE_MS)]
        elapsed_ms, refreshing, saving = ranks.decided(told)
        if elapsed_ms >= seconds * 1000:
            break
        if refreshing:
            run.refresh()
        if saving:
            run.save("latest.pt", 4)
        run.advance(elapsed_ms, seconds * 1000)
    run.save("final.pt", 40)
    ranks.decided([0.0])


def named_shape(name: str) -> Shape:
    """'FRONTxHIDDENxBOTTLENECK' with the standard blocks, for example 256x512x128."""
    front, hidden, bottleneck = (int(part) for part in name.split("x"))
    return Shape(front, hidden, bottleneck)


def plan(given: argparse.Namespace) -> training.Plan:
    """The plan of what was asked for on the command line; a net that goes on hears all the noise at once."""
    late = {"clean_steps": 0, "ramp_steps": 1} if given.start else {}
    return training.Plan(
        named_shape(given.shape), batch_s=given.batch_s, peak=given.peak, people=given.people, start=given.start,
        seed=given.seed, dropped=given.dropped, average=given.average, **late,
    )  # fmt: skip
