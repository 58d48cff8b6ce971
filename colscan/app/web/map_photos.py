"""The photos that a shelf's map can be drawn on: the trial's own, and those sent for it."""

from __future__ import annotations

import re
from collections import OrderedDict
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from shutil import rmtree
from tempfile import mkdtemp
from threading import Lock
from typing import BinaryIO
from uuid import uuid4
from weakref import finalize

from colscan.app.batch.originals import find_by_hash
from colscan.app.mapping import look_at
from colscan.app.web.arrivals import clean_name, receive
from colscan.app.web.site import Standing
from colscan.errors import PhotoError, TrialError
from colscan.locate import Points
from colscan.photo import PhotoRef, read_ref
from colscan.trial.model import Trial
from colscan.trial.shelfmap import ShelfMap

MOST_SENT = 6
"""Photos sent and not kept yet: with one more the oldest is forgotten."""
MOST_SEEN = 32
_SHA256 = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sketch:
    """What a photo shows, without its pixels: outlines of bags without a card, and bags by their card."""

    width_px: int
    height_px: int
    outlines_px: tuple[Points, ...]
    carded: tuple[tuple[str, Points], ...]


class MapPhotos:
    """Photos to draw a map on; what is sent lies in a folder of its own until the server ends."""

    def __init__(self) -> None:
        self._folder: Path | None = None
        self._sent: OrderedDict[str, PhotoRef] = OrderedDict()
        self._seen: OrderedDict[str, Sketch] = OrderedDict()
        self._lock, self._looking = Lock(), Lock()

    def add(self, trial: Trial, body: BinaryIO, *, name: str, taken_at: datetime | None) -> PhotoRef:
        """Return a photo that was sent, checked but not decoded.

        Parameters
        ----------
        trial : Trial
            The plan: how large photos may be.
        body : file
            Its bytes; the request's limit is watched by what gives them.
        name : str
            What it is called where it comes from; never a path here.
        taken_at : datetime or None
            When it was taken, if said.

        Raises
        ------
        PhotoError
            When it is no photo, is too large or too small, or can't be placed in time.
        """
        path = receive(body, self._free_path).path
        shown = clean_name(name)
        try:
            ref = replace(_read(path, trial, taken_at=taken_at), name=shown)
        except PhotoError as error:
            path.unlink()
            hint = error.hint
            if "--taken-at" in hint:
                hint = "Fill in when it was taken, then send it again."
            raise PhotoError(error.message.replace(path.name, shown), hint) from error
        with self._lock:
            forgotten = self._sent.pop(ref.sha256, None)
            self._sent[ref.sha256] = ref
            if forgotten is None and len(self._sent) > MOST_SENT:
                _, forgotten = self._sent.popitem(last=False)
            if forgotten is not None:
                with suppress(OSError):  # somebody may be reading it
                    forgotten.path.unlink()
        return ref

    def _free_path(self, suffix: str) -> Path:
        return self._own_folder() / f"{uuid4().hex}{suffix}"

    def _own_folder(self) -> Path:
        with self._lock:
            if self._folder is None:
                self._folder = Path(mkdtemp(prefix="colscan-map-"))
                finalize(self, rmtree, self._folder, ignore_errors=True)
            return self._folder

    def find(self, here: Standing, maps: Iterable[ShelfMap], sha256: str) -> PhotoRef:
        """Return a photo of the trial, of its maps, or one that was sent.

        Parameters
        ----------
        here : Standing
            The trial.
        maps : iterable of ShelfMap
            Its shelves' maps.
        sha256 : str
            The hash of its bytes: a photo that nobody told of is refused.

        Raises
        ------
        TrialError
            When there is none.
        PhotoError
            When its file can't be read any more.
        """
        names = {row.photo_sha256: row.photo for row in here.ledger.photos}
        names |= {one.photo_sha256: one.photo for one in maps}
        if sha256 in names and _SHA256.fullmatch(sha256):
            path = find_by_hash(here.folder, sha256)
            ref = _read(path, here.trial, taken_at=None) if path else None
            if ref is not None and ref.sha256 == sha256:
                return replace(ref, name=names[sha256])
        with self._lock:
            sent = self._sent.get(sha256)
        if sent is not None:
            return sent
        msg = "That photo isn't here any more."
        raise TrialError(msg, "Choose another one, or send it again.")

    def sketch(self, here: Standing, ref: PhotoRef) -> Sketch:
        """Return what a photo shows; it is looked at once.

        Parameters
        ----------
        here : Standing
            The trial.
        ref : PhotoRef
            The photo.

        Raises
        ------
        PhotoError
            When it can't be read.
        """
        key = f"{ref.sha256} {sorted((bag.tag or 0, bag.bag) for bag in here.trial.bags)}"
        with self._looking:  # one at a time: it takes seconds and much memory
            if key not in self._seen:
                shown = look_at(ref, here.trial)
                height, width = shown.rgb.shape[:2]
                self._seen[key] = Sketch(
                    width_px=width, height_px=height, outlines_px=shown.outlines_px, carded=shown.carded
                )
                if len(self._seen) > MOST_SEEN:
                    self._seen.popitem(last=False)
            return self._seen[key]


def _read(path: Path, trial: Trial, *, taken_at: datetime | None) -> PhotoRef:
    return read_ref(
        path,
        max_megapixels=trial.limits.max_photo_megapixels,
        zone=trial.zone,
        not_before=min(bag.inoculated_at for bag in trial.bags),
        taken_at=taken_at,
    )
