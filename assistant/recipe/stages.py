"""The two long stages on a machine with GPUs: many Kokoro speakers at once, and the training loop with its log."""

from __future__ import annotations

import json
import subprocess
import sys
from typing import TYPE_CHECKING, Any, Final

import torch

from assistant.clock import SystemClock
from assistant.recipe import training

if TYPE_CHECKING:
    from pathlib import Path

    from assistant.recipe.network import Shape

REFRESH_MS: Final = 40_000
LOG_MS: Final = 15_000
SAVE_MS: Final = 75_000


def speak(folder: Path, model: Path, workers: int, seconds: float, devices: list[str]) -> list[int]:
    """Run `workers` Kokoro processes spread over `devices` for `seconds`; returns their exit codes."""
    command = [sys.executable, "-m", "assistant.recipe", "speak-worker", "--data", str(folder), "--kokoro", str(model)]
    running = [
        subprocess.Popen(
            [*command, "--number", str(number), "--seconds", str(seconds), "--device", devices[number % len(devices)]]
        )
        for number in range(workers)
    ]
    return [process.wait() for process in running]


def load_pool(folder: Path, device: str, capacity_h: float) -> tuple[training.Pool, set[str]]:
    """Everything that lies in a corpus folder now, and the names of the Kokoro files taken."""
    pool = training.Pool(device, capacity_h)
    for index in sorted(folder.glob("*.json")):
        if index.stem == "human" or index.stem.startswith("fast"):
            training.add_pack(pool, folder, index.stem)
    seen: set[str] = set()
    take_new_shards(pool, folder, seen)
    return pool, seen


def take_new_shards(pool: training.Pool, folder: Path, seen: set[str]) -> int:
    """Add Kokoro files that arrived since; returns how many."""
    new = [path for path in sorted(folder.glob("kokoro_*.npz")) if path.name not in seen and ".part" not in path.name]
    for path in new:
        training.add_shard(pool, path)
        seen.add(path.name)
    return len(new)


@torch.no_grad()
def held_out_loss(trainer: training.Trainer, held: list[training.Bucket], pool: training.Pool, strength: float) -> float:
    """Loss per phone of the averaged net on tuning speakers, with noise of the given strength, same draws every time."""
    state = torch.random.get_rng_state(), torch.cuda.get_rng_state_all() if pool.device != "cpu" else []
    torch.manual_seed(1)
    total = torch.zeros((), device=pool.device)
    phones = torch.zeros((), device=pool.device)
    measure = training.loss_for(pool.device)
    for bucket in held:
        batch = training.draw_batch(pool, bucket, 64, trainer.sounds, trainer.mfcc, strength)
        net = trainer.mean_net
        each = measure(net(net.pad(batch.features)).log_softmax(2), batch.phones, batch.silence_ok, batch.counts)
        total += torch.where(each < 4000, each, torch.zeros_like(each)).sum()
        phones += batch.counts.sum()
    torch.random.set_rng_state(state[0])
    if state[1]:
        torch.cuda.set_rng_state_all(state[1])
    return float(total / phones.clamp(min=1))


def train(folder: Path, out: Path, seconds: float, plan: training.Plan, device: str, capacity_h: float) -> dict[str, Any]:
    """Train for `seconds`; writes OUT/latest.pt every minute or so, OUT/log.jsonl, and OUT/final.pt at the end.

    Kokoro files that appear in `folder` meanwhile join in. Returns the last log line.
    """
    out.mkdir(parents=True, exist_ok=True)
    clock = SystemClock()
    pool, seen = load_pool(folder, device, capacity_h)
    tuning = training.Pool(device, 3.0)
    training.add_pack(tuning, folder, "human", "tune")
    held = training.buckets(tuning)
    trainer = training.Trainer(plan, pool, training.load_sounds(folder, device))
    log: dict[str, Any] = {"net": training.describe(trainer), "hours": pool.hours()}
    _note(out, log)
    total, steps, started = torch.zeros((), device=device), 0, clock.now_ms()
    last = dict.fromkeys(("log", "save", "refresh"), started)
    while (elapsed := clock.now_ms() - started) < seconds * 1000:
        total += trainer.advance(elapsed / seconds / 1000)
        steps += 1
        now = clock.now_ms()
        if now - last["refresh"] > REFRESH_MS:
            if take_new_shards(pool, folder, seen):
                trainer.refresh()
                _note(out, {"hours": pool.hours()})
            last["refresh"] = clock.now_ms()
        if now - last["log"] > LOG_MS or trainer.step in (1, 10):
            log = {"step": trainer.step, "s": elapsed // 1000, "loss": round(float(total) / steps, 4), "audio_h": round(trainer.audio_s / 3600, 1)}
            _note(out, log)
            total, steps, last["log"] = torch.zeros((), device=device), 0, clock.now_ms()
        if now - last["save"] > SAVE_MS:
            trainer.save(out / "latest.pt", 4)
            _note(out, {f"held_out_{level}": round(held_out_loss(trainer, held, tuning, level), 4) for level in (0.0, 1.0)})
            last["save"] = clock.now_ms()
    trainer.save(out / "final.pt", 40)
    log |= {f"held_out_{level}": round(held_out_loss(trainer, held, tuning, level), 4) for level in (0.0, 1.0)}
    _note(out, log)
    return log


def _note(out: Path, line: dict[str, Any]) -> None:
    print(line, flush=True)
    with (out / "log.jsonl").open("a", encoding="utf-8") as file:
        file.write(json.dumps(line) + "\n")


def named_shape(name: str) -> Shape:
    """'FRONTxHIDDENxBOTTLENECK' with the standard blocks, for example 256x512x128."""
    from assistant.recipe.network import Shape

    front, hidden, bottleneck = (int(part) for part in name.split("x"))
    return Shape(front, hidden, bottleneck)
