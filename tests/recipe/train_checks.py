"""Training on a CPU, where torch is installed (`.[train]`): the loss, the features, and a net from training to file."""

import itertools
import json
import math
import random
from pathlib import Path

import numpy as np
import pytest
import torch

from assistant.recipe import phone_net, stages
from assistant.recipe.augment import Sounds, good_length, heard, masked, restyled
from assistant.recipe.blending import averaged, blend
from assistant.recipe.features import Mfcc
from assistant.recipe.kaldi_model import model_bytes
from assistant.recipe.kokoro import BEYOND, Casting
from assistant.recipe.loss import topology_loss
from assistant.recipe.machine_noise import machines
from assistant.recipe.network import Shape, Tdnn, folded
from assistant.recipe.phones import BLANK, SILENCE
from assistant.recipe.pool import WAVER, WAVER_HZ, Pool, _at_speed
from assistant.recipe.training import Plan, Trainer, load_net
from assistant.recipe.unfolding import calibrate, unfolded
from assistant.recipe.voices import NEVER_TRAIN, TUNING
from tests.recipe.nets import cepstra, tiny_net


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


def test_a_restyled_clip_keeps_its_shape_and_takes_on_another_level() -> None:
    """Without strength nothing changes; with it each mel bin only moves and stretches, and means stay among those there were."""
    torch.manual_seed(10)
    log_mel = torch.randn(40, 60, 40) + 3 * torch.randn(40, 1, 40)
    assert torch.allclose(restyled(log_mel, 0.0), log_mel, atol=1e-4)
    out = restyled(log_mel, 1.0)
    assert 8 < sum(not torch.allclose(one, other, atol=1e-3) for one, other in zip(out, log_mel, strict=True)) < 32
    before, after = log_mel - log_mel.mean(1, keepdim=True), out - out.mean(1, keepdim=True)
    alike = (before * after).sum(1) / (before.norm(dim=1) * after.norm(dim=1))
    assert float(alike.min()) > 0.999
    assert (out.mean(1).amax(0) <= log_mel.mean(1).amax(0) + 1e-3).all()


def test_masks_hide_little() -> None:
    """Nothing is hidden without strength; at full strength some rows lose a stretch or bands, none more than half."""
    torch.manual_seed(11)
    log_mel = torch.randn(200, 100, 40)
    assert torch.equal(masked(log_mel, 0.0), log_mel)
    hidden = (masked(log_mel, 1.0) != log_mel).float().mean((1, 2))
    assert 0.05 < float(hidden.mean()) < 0.25
    assert float(hidden.max()) < 0.55


def test_a_swaying_speed_keeps_the_clip() -> None:
    """A rising ramp stays rising, begins at `lead`, and ends when its mean speed says, within the sway."""
    torch.manual_seed(12)
    pool = Pool("cpu", 0.01)
    pool.add(np.arange(1, 16001, dtype=np.int16), [(0, 16000, "AA", "kokoro")])
    rows = 20
    starts, lengths = torch.zeros(rows, dtype=torch.long), torch.full((rows,), 16000)
    ratio, lead = torch.full((rows,), 1.1), torch.full((rows,), 800.0)
    laid = _at_speed(pool, starts, lengths, lead, ratio, 24000)
    spare = 2 * WAVER / (2 * math.pi * WAVER_HZ[0]) * 16000
    for row in laid:
        there = torch.nonzero(row.abs() > 200)[:, 0]
        assert (row[there][100:-100:40].diff() > 0).all()
        assert 800 <= int(there[0]) < 800 + 400
        assert abs(int(there[-1]) - (800 + 16000 / 1.1)) < spare + 16
    assert float((laid[0] - laid[1]).abs().max()) > 50


def test_the_mean_of_nets_is_a_net(tmp_path: Path) -> None:
    """Of a net with itself it computes what the net does, once its norms are measured; nets of two shapes have none."""
    _tones(tmp_path)
    plan = Plan(Shape(16, 24, 12, ((1, 1), (1, 0))), batch_s=6, warm_up=3, peak=1e-2, average=0.9, seed=3)
    stages.train(tmp_path, tmp_path / "run", 6, plan, ["cpu"], 0.05)
    final = tmp_path / "run/final.pt"
    told = [json.loads(line) for line in (tmp_path / "run/log.jsonl").read_text().splitlines()][-1]
    losses = blend(tmp_path, [final, final], [0.25, 0.75], tmp_path / "both.pt", "cpu", 0.05, 6)
    assert losses[0.0] < told["held_out_0.0"] + 1
    alone, both = load_net(final)[0].state_dict(), load_net(tmp_path / "both.pt")[0].state_dict()
    assert float((alone["out.weight"] - both["out.weight"]).abs().max()) < 1e-3
    with pytest.raises(ValueError, match="several shapes"):
        averaged([load_net(final)[0], Tdnn(Shape(16, 24, 12, ((1, 1),)))], [0.5, 0.5])


def _tones(folder: Path) -> None:
    """A corpus folder of two tones, short and long, that train and tune, with a noise and a room."""
    draw = np.random.default_rng(6)
    clips = [
        (np.sin(2 * np.pi * pitch * np.arange(samples) / 16000) * 8000 + draw.normal(size=samples) * 50, phone)
        for samples in (6400, 24000)
        for pitch, phone in ((300, "AA"), (1200, "IY"))
        for _ in range(4)
    ]
    ends = np.cumsum([len(clip) for clip, _ in clips])
    pcm = np.concatenate([clip for clip, _ in clips]).astype(np.int16)
    np.savez(folder / "kokoro_0_0.npz", pcm=pcm, ends=ends, phones=np.array([phone for _, phone in clips]))
    starts = [0, *ends[:-1].tolist()]
    rows = [[start, int(end), phone, "an4", "tune"] for start, end, (_, phone) in zip(starts, ends, clips, strict=True)]
    noise = (draw.normal(size=16000) * 500).astype(np.int16)
    for name, samples, index in (("human", pcm, rows), ("noise", noise, [[0, 16000, "", "fan", "train"]])):
        np.save(folder / f"{name}.npy", samples)
        (folder / f"{name}.json").write_text(json.dumps(index))
    rooms = np.zeros((1, 16000), np.float16)
    rooms[0, 0] = 1
    np.save(folder / "rooms.npy", rooms)


def test_two_processes_train_one_net(tmp_path: Path) -> None:
    """Both hold the same weights at the end, though each drew its own clips; the loss falls; the first one writes the net."""
    _tones(tmp_path)
    plan = Plan(Shape(16, 24, 12, ((1, 1), (1, 0))), batch_s=6, warm_up=3, peak=1e-2, average=0.9, seed=3)
    stages.train(tmp_path, tmp_path / "run", 12, plan, ["cpu", "cpu"], 0.05)
    log = [json.loads(line) for line in (tmp_path / "run/log.jsonl").read_text().splitlines()]
    losses = [line["loss"] for line in log if "loss" in line]
    assert log[-1]["step"] > 10
    assert log[-1]["apart"] == 0
    assert log[-1]["held_out_0.0"] < 0.8 * losses[0]
    _, _, story = load_net(tmp_path / "run/final.pt")
    assert story["steps"] == log[-1]["step"]
    assert story["audio_h"] * 3600 > 1.5 * 6 * story["steps"]


def test_a_model_folder_becomes_a_net_to_train_on(tmp_path: Path) -> None:
    """What the folder holds is computed again, also by batch norms that use the batch's own statistics."""
    written = tiny_net(7)
    (tmp_path / "am").mkdir()
    (tmp_path / "am/final.mdl").write_bytes(model_bytes(written, 0.3, 4))
    net = unfolded(tmp_path)
    features = torch.randn(30, 50, 40, generator=torch.Generator().manual_seed(8)) * 5 + 3
    expected = written.log_posteriors(features[0].double().numpy())
    calibrate(net, [features])
    with torch.no_grad():
        actual = net(net.pad(features[:1])).log_softmax(2)[0].numpy()
        settled = net(net.pad(features)).log_softmax(2)
        training = net.train()(net.pad(features)).log_softmax(2)
    assert np.abs(expected - actual).max() < 1e-3
    assert float((settled - training).abs().max()) < 1e-2
    assert float(net.first_norm.running_var.min()) > 0


def test_voices_are_cast_from_those_that_may_train() -> None:
    """Weights sum to 1 and stay in bounds, some lie beyond 0..1, some are tilted, and no barred voice has a part in any."""
    barred = [name.removeprefix("kokoro:") for name in (*NEVER_TRAIN, *TUNING) if name.startswith("kokoro:")]
    names = [*barred, "af_one", "am_two", "bf_three", "bm_four", "am_five", "ef_six", "zm_seven"]
    basis = np.eye(256, dtype=np.float32)
    casting = Casting({}, {name: np.repeat(basis[None, at], 300, axis=0) for at, name in enumerate(names)}, random.Random(9))
    drawn = np.array([casting.style()[0][0] for _ in range(400)])
    assert not drawn[:, : len(barred)].any()
    assert drawn.sum(1) == pytest.approx(np.ones(400), abs=1e-4)
    plain = drawn[(np.abs(drawn) > 1e-6).sum(1) <= 3]
    assert 100 < len(plain) < 300
    assert plain.min() < -0.05
    assert -BEYOND - 1e-5 <= plain.min()
    assert plain.max() <= 1 + BEYOND + 1e-5
