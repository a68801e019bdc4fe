"""Training on a CPU, where torch is installed (`.[train]`): the loss, the features, and a net from training to file."""

import itertools
import math
from pathlib import Path

import numpy as np
import pytest
import torch

from assistant.recipe import phone_net
from assistant.recipe.augment import Sounds, good_length, heard
from assistant.recipe.features import Mfcc
from assistant.recipe.loss import topology_loss
from assistant.recipe.machine_noise import machines
from assistant.recipe.network import Shape, Tdnn, folded
from assistant.recipe.phones import BLANK, SILENCE
from assistant.recipe.training import Plan, Pool, Trainer, load_net
from tests.recipe.nets import cepstra


def _every_path(frames: int, phones: list[int], silence_ok: list[bool]) -> list[list[int]]:
    """Every sequence of pdfs that the topology allows, by walking all of them."""
    found = []
    for steps in itertools.product(("blank", "phone", "silence"), repeat=frames):
        done, state, path = 0, "silence", []
        for step in steps:
            if step == "phone" and done < len(phones):
                path.append(phones[done])
                done, state = done + 1, "phone"
            elif step == "blank" and state in ("phone", "blank"):
                path.append(BLANK)
                state = "blank"
            elif step == "silence" and silence_ok[done]:
                path.append(SILENCE)
                state = "silence"
            else:
                break
        if len(path) == frames and done == len(phones):
            found.append(path)
    return found


@pytest.mark.parametrize(
    ("phones", "silence_ok"),
    [([5], [True, True]), ([5, 5], [True, False, True]), ([5, 6, 7], [True, False, True, True]), ([], [True])],
)
def test_the_loss_sums_every_allowed_path(phones: list[int], silence_ok: list[bool]) -> None:
    """The recursion gives the same total as listing all paths one by one."""
    scores = torch.randn(1, 6, 41, dtype=torch.float64, generator=torch.Generator().manual_seed(1)).log_softmax(2)
    paths = _every_path(6, phones, silence_ok)
    expected = -math.log(sum(math.exp(sum(float(scores[0, at, pdf]) for at, pdf in enumerate(path))) for path in paths))
    padded = torch.tensor([[*phones, 2]])
    allowed = torch.tensor([[*silence_ok, False]])
    actual = topology_loss(scores.float(), padded, allowed, torch.tensor([len(phones)]))
    assert float(actual[0]) == pytest.approx(expected, abs=1e-4)


def test_features_are_those_of_the_definition() -> None:
    """Batched features equal the definition computed frame by frame."""
    samples = (np.random.default_rng(1).normal(size=4000) * 2000).astype(np.int16)
    actual = Mfcc()(torch.from_numpy(samples.astype("f4"))[None])[0].numpy()
    assert np.abs(cepstra(samples) - actual).max() < 5e-3


def test_a_folded_net_computes_the_same() -> None:
    """Batch norms and input scaling folded into plain affines change nothing."""
    torch.manual_seed(2)
    net = Tdnn(Shape(12, 16, 8, ((1, 1), (2, 0)))).eval()
    for module in net.modules():
        if isinstance(module, torch.nn.BatchNorm1d):
            module.running_mean.normal_()
            module.running_var.uniform_(0.5, 2)
    net.mean.normal_()
    frames = torch.randn(1, 22, 40)
    with torch.no_grad():
        expected = net(net.pad(frames)).log_softmax(2)[0].numpy()
    actual = folded(net, np.full(41, 1 / 41)).log_posteriors(frames[0].double().numpy())
    assert np.abs(expected - actual).max() < 1e-3


def test_noise_is_finite_and_of_unit_strength() -> None:
    """Invented machines are finite numbers of unit root mean square."""
    torch.manual_seed(3)
    noise = machines(9, good_length(8000), "cpu")
    assert torch.isfinite(noise).all()
    assert noise.pow(2).mean(1).sqrt().numpy() == pytest.approx(np.ones(9), abs=1e-2)


def test_a_tiny_training_run_learns_and_is_written(tmp_path: Path) -> None:
    """Thirty steps on a tone alphabet lower the loss; the checkpoint loads and folds to the same net."""
    draw = np.random.default_rng(4)
    at = np.arange(6400) / 16000
    clips = [np.sin(2 * np.pi * pitch * at) * 8000 for pitch in (300, 1200) for _ in range(8)]
    pcm = np.concatenate([clip + draw.normal(size=clip.shape) * 50 for clip in clips]).astype(np.int16)
    pool = Pool("cpu", 0.01)
    pool.add(pcm, [(6400 * i, 6400 * (i + 1), "AA" if i < 8 else "IY", "kokoro") for i in range(16)])
    noise = torch.from_numpy((draw.normal(size=16000) * 500).astype(np.int16))
    rooms = torch.zeros(1, 8000)
    rooms[0, 0] = 1
    shape = Shape(16, 24, 12, ((1, 1), (1, 0)))
    trainer = Trainer(Plan(shape, batch_s=20, warm_up=3, peak=1e-2), pool, Sounds(noise, torch.tensor([[0, 16000]]), rooms))
    losses = [float(trainer.advance(step / 30)) for step in range(30)]
    assert np.mean(losses[-5:]) < 0.7 * np.mean(losses[:5])
    trainer.save(tmp_path / "net.pt", 1)
    net, priors, story = load_net(tmp_path / "net.pt")
    assert story["steps"] == 30
    folded(net, priors).save(tmp_path / "net.npz")
    assert phone_net.load(tmp_path / "net.npz").reach == (shape.left_frames, shape.right_frames)


def test_augmented_audio_is_whole_numbers_in_range() -> None:
    """What the microphone delivers fits 16 bits, also at full strength."""
    torch.manual_seed(5)
    clean = torch.randn(12, 16000) * 1000
    noise = torch.from_numpy((np.random.default_rng(5).normal(size=16000) * 500).astype(np.int16))
    rooms = torch.zeros(1, 8000)
    rooms[0, 0] = 1
    out = heard(clean, torch.full((12,), 16000), torch.ones(12, dtype=torch.bool), Sounds(noise, torch.tensor([[0, 16000]]), rooms), 1.0)
    assert torch.equal(out, out.round())
    assert float(out.abs().max()) <= 32767
