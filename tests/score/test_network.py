"""The learnt judgement run in plain numpy."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from colscan.score.cues import MAPS, NUMBERS, Cues
from colscan.score.network import judge


def cues(shape: tuple[int, int] = (51, 38), seed: int = 0) -> Cues:
    """Cues of chance."""
    rng = np.random.default_rng(seed)
    clear = np.zeros(shape, bool)
    clear[4:-4, 3:-3] = True
    return Cues(
        maps=rng.normal(0, 0.5, (MAPS, *shape)).astype(np.float32),
        numbers=rng.normal(0, 0.5, NUMBERS).astype(np.float32),
        clear=clear,
    )


def test_answers_are_chances_on_the_face_s_grid():
    """Both maps have the face's shape, whatever it is, and lie between 0 and 1."""
    for shape in ((51, 38), (64, 40), (23, 9)):
        judged = judge(cues(shape))
        assert 0.003 < judged.doubt < 0.61
        for answer in (judged.chance, judged.opacity):
            assert answer.shape == shape
            assert answer.dtype == np.float32
            assert 0 <= answer.min() <= answer.max() <= 1


def test_mirrored_face_has_the_mirrored_answer():
    """By construction: both are looked at."""
    plain = cues((48, 40))
    mirrored = Cues(maps=plain.maps[:, :, ::-1], numbers=plain.numbers, clear=plain.clear[:, ::-1])
    one, other = judge(plain), judge(mirrored)
    np.testing.assert_allclose(one.chance, other.chance[:, ::-1], atol=1e-5)
    np.testing.assert_allclose(one.opacity, other.opacity[:, ::-1], atol=1e-5)
    np.testing.assert_allclose(one.doubt, other.doubt, rtol=1e-5)


def test_whole_face_numbers_change_the_answer():
    """The face as a whole has a say in each place."""
    plain = cues()
    other = Cues(maps=plain.maps, numbers=plain.numbers + 1, clear=plain.clear)
    assert np.abs(judge(plain).chance - judge(other).chance).mean() > 1e-3
    assert judge(plain).doubt != judge(other).doubt


def test_a_face_unlike_all_others_gives_chances_without_a_warning():
    """Log odds that exp can't take are as sure as any."""
    far = cues()
    with np.errstate(over="raise"):
        judged = judge(Cues(maps=far.maps * 300, numbers=far.numbers * 300, clear=far.clear))
    assert np.isfinite(judged.chance).all()
    assert np.isfinite(judged.doubt)


def test_weights_are_small():
    """At most 350 kB, so that the repository and the wheel stay small."""
    stored = files("colscan.score").joinpath("network.npz").read_bytes()
    assert len(stored) <= 350_000


def test_same_as_the_network_that_was_trained(monkeypatch):
    """Plain numpy against torch, where it is installed: log odds within 0.01."""
    torch = pytest.importorskip("torch")
    monkeypatch.syspath_prepend(str(Path(__file__).parents[1] / "bench"))
    from train_network import FaceNetwork

    network = FaceNetwork()
    with files("colscan.score").joinpath("network.npz").open("rb") as file, np.load(file) as stored:
        network.load_state_dict({k: torch.from_numpy(stored[k].astype(np.float32)) for k in stored.files})
    face = cues((48, 40))
    maps, numbers, clear = (
        torch.from_numpy(x[None].astype(np.float32)) for x in (face.maps, face.numbers, face.clear[None])
    )
    with torch.no_grad():
        plain, doubt = network(maps, numbers, clear)
        mirrored, doubt2 = network(maps.flip(3), numbers, clear.flip(3))
    odds = (plain + mirrored.flip(3)) / 2
    judged = judge(face)
    np.testing.assert_allclose(np.log(judged.doubt), (doubt + doubt2)[0].numpy() / 2, atol=0.01)
    for ours, theirs in zip((judged.chance, judged.opacity), odds[0].numpy(), strict=True):
        np.testing.assert_allclose(np.log(ours / (1 - ours)), theirs, atol=0.01)
