"""What is kept in a cache is told from what was written by its hash, whatever became of it."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from colscan.app.kept_pictures import keep_picture
from colscan.app.put import keep_arrays, keep_bytes, kept_arrays, kept_bytes


def test_no_damage_is_taken_for_what_was_kept(tmp_path: Path) -> None:
    """Any byte another, cut at any place, longer: none of it is read."""
    path = tmp_path / "kept"
    assert keep_bytes(path, b"measured once")
    whole = path.read_bytes()
    assert kept_bytes(path) == b"measured once"
    for at in range(len(whole)):
        path.write_bytes(whole[:at] + bytes([whole[at] ^ 1]) + whole[at + 1 :])
        assert kept_bytes(path) is None, at
        path.write_bytes(whole[:at])
        assert kept_bytes(path) is None, at
    path.write_bytes(whole + b"x")
    assert kept_bytes(path) is None


def test_arrays_come_back_as_they_were(tmp_path: Path) -> None:
    """Numbers of several kinds, texts, none at all; and nothing of a file that is cut."""
    arrays = {
        "numbers": np.array([[0.1, np.nan], [-np.inf, 3.0]]),
        "light": np.arange(30, dtype=np.float32).reshape(2, 5, 3),
        "turned": np.arange(6, dtype=np.int64).reshape(2, 3).T,
        "face": np.array([True, False, True]),
        "words": np.array(["glare", "völlig", ""]),
        "one": np.array("made of this"),
        "none": np.zeros((0, 2)),
        "no words": np.array([], np.str_),
    }
    path = tmp_path / "cache" / "kept.bin"
    assert keep_arrays(path, arrays)
    kept = kept_arrays(path)
    assert kept is not None
    assert list(kept) == list(arrays)
    for name, array in arrays.items():
        assert kept[name].dtype == array.dtype, name
        np.testing.assert_array_equal(kept[name], array, err_msg=name, strict=True)
    path.write_bytes(path.read_bytes()[:-1])
    assert kept_arrays(path) is None


def test_a_place_that_is_taken(tmp_path: Path) -> None:
    """A folder where the file or its folder should be costs the keeping alone."""
    (tmp_path / "kept").mkdir()
    assert kept_bytes(tmp_path / "kept") is None
    assert not keep_bytes(tmp_path / "kept", b"x")
    (tmp_path / "file").touch()
    assert not keep_bytes(tmp_path / "file" / "kept", b"x")
    assert not list(tmp_path.rglob("*.part"))


def test_a_damaged_picture_is_made_again(tmp_path: Path) -> None:
    """And what is kept is whole again."""
    assert keep_picture(tmp_path, "a face", lambda: b"picture") == b"picture"
    (path,) = tmp_path.iterdir()
    path.write_bytes(path.read_bytes()[:-1])
    assert keep_picture(tmp_path, "a face", lambda: b"made anew") == b"made anew"
    assert keep_picture(tmp_path, "a face", lambda: b"not made") == b"made anew"
