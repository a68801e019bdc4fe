"""The recogniser computes from the written file what the net computes."""

import json
from pathlib import Path

import numpy as np
import pytest
import vosk
from numpy.typing import NDArray

from assistant.recipe import model_files
from assistant.recipe.fst import Arc, Fst, vector_bytes
from assistant.recipe.kaldi_model import Storage, model_bytes
from assistant.recipe.phone_net import PhoneNet, load
from assistant.recipe.phones import PDF_COUNT
from tests.recipe.nets import cepstra, tiny_net

_NEVER = "".join(f"--endpoint.rule{rule}.min-trailing-silence=1000\n" for rule in range(1, 5))
_CONF = (
    "--min-active=200\n--max-active=7000\n--beam=5000\n--lattice-beam=5000\n--acoustic-scale=1.0\n"
    f"--frame-subsampling-factor=3\n--endpoint.silence-phones=1\n{_NEVER}--endpoint.rule5.min-utterance-length=1000\n"
)


def _one_frame(folder: Path, samples: NDArray[np.int16], frames: int, at: int) -> NDArray[np.float64]:
    """The recogniser's log posteriors of one frame, up to a constant: every pdf may stand there, pdf 0 elsewhere."""
    graph = Fst(0, [[] for _ in range(frames + 1)], {frames: 0.0})
    for frame in range(frames):
        for pdf in range(PDF_COUNT) if frame == at else (0,):
            graph.arc(frame, Arc(2 * (pdf + 1), pdf + 1 if frame == at else 0, 0.0, frame + 1))
    (folder / "graph/HCLG.fst").write_bytes(vector_bytes(graph))
    recogniser = vosk.KaldiRecognizer(vosk.Model(str(folder)), 16000)
    recogniser.SetMaxAlternatives(PDF_COUNT)
    for start in range(0, len(samples), 1600):
        recogniser.AcceptWaveform(samples[start : start + 1600].tobytes())
    out = np.full(PDF_COUNT, np.nan)
    for found in json.loads(recogniser.FinalResult())["alternatives"]:
        out[int(found["text"].strip()[1:])] = found["confidence"]
    return out - out[0]


def _written(net: PhoneNet, folder: Path, storage: Storage) -> Path:
    for part in ("am", "conf", "graph"):
        (folder / part).mkdir(parents=True)
    pdfs = [(pdf, pdf) for pdf in range(PDF_COUNT)]
    (folder / "am/final.mdl").write_bytes(model_bytes(net, 0.0, storage, pdfs))
    (folder / "conf/mfcc.conf").write_text(model_files.MFCC_CONF)
    (folder / "conf/model.conf").write_text(_CONF)
    symbols = "".join(f"p{pdf} {pdf + 1}\n" for pdf in range(PDF_COUNT))
    (folder / "graph/words.txt").write_text(f"<eps> 0\n{symbols}")
    return folder


@pytest.mark.parametrize(("storage", "tolerance"), [(4, 5e-3), (2, 1e-2), (1, 0.35)])
def test_recogniser_agrees_with_the_net(tmp_path: Path, storage: Storage, tolerance: float) -> None:
    """Posteriors from the written file match the net's own, exactly in four bytes a weight and closely in one."""
    net = tiny_net(3)
    samples = (np.random.default_rng(4).normal(size=400 + 160 * 23) * 3000).astype(np.int16)
    expected = net.log_posteriors(cepstra(samples))
    folder = _written(net, tmp_path / "model", storage)
    for at in (0, len(expected) // 2, len(expected) - 1):
        actual = _one_frame(folder, samples, len(expected), at)
        assert np.abs((expected[at] - expected[at, 0]) - actual).max() < tolerance


def test_a_net_survives_its_array_file(tmp_path: Path) -> None:
    """Saved and loaded, a net computes the same."""
    net = tiny_net(5)
    net.save(tmp_path / "net.npz")
    frames = np.random.default_rng(6).normal(size=(20, 40))
    again = load(tmp_path / "net.npz")
    assert np.allclose(net.log_posteriors(frames), again.log_posteriors(frames), atol=1e-4)
    assert net.reach == again.reach == (2 + 3 + 6, 2 + 3)
