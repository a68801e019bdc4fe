"""The phone net as the second look runs it: the same numbers as the net that was written, however the sound arrives."""

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from assistant.errors import ModelError
from assistant.hearing.cepstra import CepstraStream
from assistant.hearing.phone_net import PhoneNet, PhoneStream
from assistant.hearing.recogniser import shipped_model
from assistant.recipe.binary import one_byte_columns
from assistant.recipe.kaldi_model import Storage, model_bytes
from assistant.recipe.net_file import read_net
from tests.recipe.nets import cepstra, tiny_net

SOUND = (np.random.default_rng(1).normal(size=16_000) * 2000).astype(np.int16)


def written(folder: Path, storage: Storage, prior_scale: float = 0.3) -> PhoneNet:
    """A small random net, written by the recipe and read by the second look."""
    path = folder / "final.mdl"
    path.write_bytes(model_bytes(tiny_net(2), prior_scale, storage))
    return PhoneNet.of_file(read_net(path))


def scores(net: PhoneNet, sound: NDArray[np.int16], size: int) -> NDArray[np.float32]:
    """All rows, the sound given in pieces of `size` samples."""
    stream = PhoneStream(net)
    rows = [stream.feed(sound[at : at + size]) for at in range(0, len(sound), size)]
    return np.concatenate([*rows, stream.finish()])


def test_cepstra_are_those_of_the_definition() -> None:
    """Frame by frame as Kaldi's feature extraction is defined, in pieces of any size."""
    stream = CepstraStream()
    frames = np.concatenate([stream.feed(SOUND[at : at + 333]) for at in range(0, len(SOUND), 333)])
    expected = cepstra(SOUND)
    assert expected.shape == frames.shape
    assert np.abs(expected - frames).max() < 0.02


def test_scores_are_those_of_the_written_net(tmp_path: Path) -> None:
    """Log posteriors of the reference net less the scaled log priors, edges repeated as the recogniser does."""
    net = tiny_net(2)
    expected = net.log_posteriors(cepstra(SOUND)) - 0.3 * np.log(np.maximum(net.priors, 1e-6))
    actual = scores(written(tmp_path, 4), SOUND, len(SOUND))
    assert expected.shape == actual.shape
    assert np.abs(expected - actual).max() < 0.02


@pytest.mark.parametrize("size", [160, 960, 1601, 16_000])
def test_pieces_of_any_size_give_the_same_scores(tmp_path: Path, size: int) -> None:
    """A live stream scores as a recording does."""
    net = written(tmp_path, 4)
    assert np.allclose(scores(net, SOUND, len(SOUND)), scores(net, SOUND, size), atol=1e-3)


def test_a_short_sound_has_no_scores(tmp_path: Path) -> None:
    """Less than one window is nothing, and no error."""
    assert 0 == len(scores(written(tmp_path, 4), SOUND[:300], 100))


def test_one_byte_weights_are_read_as_they_were_meant(tmp_path: Path) -> None:
    """Each number comes back within a step of its column's own scale."""
    reference, coarse = written(tmp_path, 4), written(tmp_path, 1)
    for exact, rough in zip(reference.nodes, coarse.nodes, strict=True):
        if exact.component.weight is None:
            continue
        assert rough.component.weight is not None
        assert len(one_byte_columns(exact.component.weight)) > 16
        span = np.ptp(exact.component.weight, axis=0)
        assert (np.abs(exact.component.weight - rough.component.weight).max(axis=0) <= span / 50 + 1e-6).all()


def test_the_shipped_net_is_understood() -> None:
    """Its scores are probabilities once the priors are put back."""
    net = PhoneNet.of_file(read_net(shipped_model() / "am" / "final.mdl"))
    rows = scores(net, SOUND, 960) + net.log_priors
    assert np.allclose(np.exp(rows).sum(axis=1), 1, atol=1e-3)


@pytest.mark.parametrize("keep", [0, 1, 500, 4000])
def test_a_broken_file_is_refused(tmp_path: Path, keep: int) -> None:
    """One sentence that names the file."""
    path = tmp_path / "final.mdl"
    path.write_bytes(model_bytes(tiny_net(2), 0.3, 1)[:keep])
    with pytest.raises(ModelError, match=r"final\.mdl: the second look cannot read this net"):
        read_net(path)
