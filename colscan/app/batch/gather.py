"""From what the user typed to photo files."""

from __future__ import annotations

import glob
from collections.abc import Iterable
from pathlib import Path

from colscan.errors import PhotoError
from colscan.hints import as_typed
from colscan.photo import PHOTO_SUFFIXES


def gather_photos(arguments: Iterable[str]) -> tuple[Path, ...]:
    """Photo files named by files, folders (their photos, not those of sub-folders) and glob patterns.

    Parameters
    ----------
    arguments : iterable of str
        As typed. A name that exists is taken as it is, whatever its suffix.

    Returns
    -------
    tuple of Path
        Each file once, in the order given; a folder's and a pattern's in order of name.

    Raises
    ------
    PhotoError
        When a name doesn't exist, or a folder or pattern holds no photo.
    """
    found: dict[Path, Path] = {}
    for argument in arguments:
        for path in _expand(argument):
            found.setdefault(path.resolve(), path)
    return tuple(found.values())


def _expand(argument: str) -> list[Path]:
    if not argument:
        return _refuse("An empty name was given for a photo")
    try:
        return _look_up(argument)
    except OSError as error:
        return _refuse(f"{argument}: can't be looked at ({error.strerror})")


def _look_up(argument: str) -> list[Path]:
    path = Path(argument)
    if path.is_dir():
        return _photos_among(path.iterdir()) or _refuse_folder(path)
    if path.exists():
        return [path]
    if glob.has_magic(argument):
        named = glob.glob(argument, recursive=True)  # noqa: PTH207 - Path.glob takes no absolute pattern
        matched = _photos_among(Path(name) for name in named)
        return matched or _refuse(f"{argument}: matches no photo")
    return _refuse(f"{argument}: no such file or folder")


def _photos_among(paths: Iterable[Path]) -> list[Path]:
    # Names with a dot in front are what file systems and copying programs leave beside the photos.
    seen = (path for path in paths if path.suffix.lower() in PHOTO_SUFFIXES and path.name[0] != ".")
    return sorted(path for path in seen if path.is_file())


def _refuse_folder(path: Path) -> list[Path]:
    """Refuse a folder without photos; a camera's has them in folders of their own."""
    folders = (inside for inside in sorted(path.iterdir()) if inside.is_dir())
    below = next((folder for folder in folders if _photos_among(folder.iterdir())), None)
    if below is None:
        return _refuse(f"{path}: the folder holds no photo")
    msg = f"{path}: the folder itself holds no photo, and folders in it aren't looked into."
    raise PhotoError(msg, f"Give the one that is meant, like {as_typed(below)}.")


def _refuse(what: str) -> list[Path]:
    raise PhotoError(f"{what}.", f"Give photos ({', '.join(PHOTO_SUFFIXES)}) or folders that hold some.")  # noqa: EM102
