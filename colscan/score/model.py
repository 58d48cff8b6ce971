"""What scoring knows of a bag and finds in a photo: baseline, evidence, patches, score."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from colscan.flags import Flag
from colscan.score.trajectory import Trajectory

FaceMap = NDArray[np.float32]
"""(h, w) or (h, w, 3) on the face's own grid of millimetres, NaN where nothing was seen."""


class Fault(StrEnum):
    """What is wrong with a first photo, and what to do about it at once: its value is said to the grower."""

    CUT_OFF = "it is cut by the edge of the photo; show the whole bag"
    BLURRED = "it is blurred; hold still and tap on the bag to focus"
    TOO_SMALL = "it is too small in the photo; go nearer"
    HIDDEN = "card, hand, wires or a neighbour hide over a third of it; free its face"
    DARK = "it is too dark; more light, or tap on the bag"
    NO_LIGHT = "no card tells the light (unread or burnt out); show the card flat, expose a little darker"
    GLARE = "reflections lie on over a tenth of it; step to the side or move the lamp"
    FOG = "over a quarter of its film is fogged or veiled; let it clear or press it on, avoid reflections"


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenOff:
    """How much of a face had grown over when its late baseline was made (fractions, 90 % interval)."""

    coverage: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Baseline:
    """How a bag looked before anything grew: its own substrate, in units of its card's paper.

    Parameters
    ----------
    colour : ndarray, shape (3,)
        Robust mean of the substrate's linear light / paper.
    spread : ndarray, shape (3, 3)
        Robust covariance of the log light at 2 mm: shavings, grain, bran.
    face : FaceMap, shape (h, w, 3)
        The face's light / paper on its own grid.
    late : bool
        Made from photos later than 36 hours after spawning.
    photos : tuple of str
        SHA-256 of the photos it was made from.
    taken_off : TakenOff or None
        Growth that is taken off in `face`, where the photo is a late one.
    faults : tuple of Fault
        What is wrong with all of its photos; nothing if one was good.
    """

    colour: NDArray[np.float64]
    spread: NDArray[np.float64]
    face: FaceMap
    late: bool
    photos: tuple[str, ...]
    taken_off: TakenOff | None = None
    faults: tuple[Fault, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PatchSeen:
    """A suspect patch in one photo, before it has a name.

    Parameters
    ----------
    kind : str
        `green`, `dark`, `orange`, `grey`, `amber` or `brown`: how it looks, never what it is.
    area_mm2, area : float
        Its area, and its share of the seen face (fraction).
    centre_px, centre_mm : tuple of float
        x, y in the photo, and from the middle of the face.
    outline_px : ndarray, shape (n, 2)
        Its polygon in the photo.
    strength : float
        0-1, how surely it is neither this bag's substrate nor its mycelium.
    """

    kind: str
    area_mm2: float
    area: float
    centre_px: tuple[float, float]
    centre_mm: tuple[float, float]
    outline_px: NDArray[np.float64]
    strength: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Evidence:
    """What one photo says of one bag: picklable, small, no photo pixels.

    Parameters
    ----------
    key : int
        As of its view.
    coverage, low, high, density : float or None
        Fractions of the seen face; None when it can't be measured.
    unseen : float
        Fraction of the face that is hidden.
    opacity : FaceMap, shape (h, w)
        Expected opacity of the mycelium on the grid of the bag's baseline, NaN where unseen, exactly 0
        in suspect patches: what the remembering pass works on.
    face : ndarray of bool, shape (h, w)
        The face on the same grid without card, wires and whatever else is no part of it; what
        reflections and shade hide belongs to it.
    patches : tuple of PatchSeen
        Suspect patches.
    mm_per_px : float
        Scale at the middle of the face.
    outline_px : ndarray, shape (n, 2)
        The face's polygon in the photo.
    to_px : ndarray, shape (2, 3)
        From column, row of the maps to x, y in the photo.
    smallest_spot_mm : float
        Diameter of the smallest spot that this view can show.
    flags : tuple of Flag
        What makes it doubtful.
    """

    key: int
    coverage: float | None
    low: float | None
    high: float | None
    density: float | None
    unseen: float
    opacity: FaceMap
    face: NDArray[np.bool_]
    patches: tuple[PatchSeen, ...]
    mm_per_px: float
    outline_px: NDArray[np.float64]
    to_px: NDArray[np.float64]
    smallest_spot_mm: float
    flags: tuple[Flag, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class KnownPatch:
    """A patch as the ledger knows it: its first and its latest sighting."""

    patch: str
    kind: str
    centre_mm: tuple[float, float]
    area_mm2: float
    first_area_mm2: float
    first_seen_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FaceState:
    """What is known of a bag's face after a photo, and what its next one is remembered from.

    Parameters
    ----------
    at : datetime
        Time of that photo.
    trajectory : Trajectory
        How far it is and how quickly it grows, suspect patches left out.
    places : FaceMap, shape (h, w), or None
        Chance that each place is covered, 0 outside the face; None when it was never seen.
    """

    at: datetime
    trajectory: Trajectory
    places: FaceMap | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Memory:
    """What is remembered of a bag when its next photo is looked at, all from earlier photos and events.

    Parameters
    ----------
    segment : int
        How often the bag was shaken, turned or opened before the photo.
    spawned_at : datetime or None
        When the bag was inoculated; None when that is not known.
    state : FaceState or None
        After the latest earlier photo of this segment; None when there is none.
    patches : tuple of KnownPatch
        Patches of this segment; names of earlier segments are not used again.
    patches_named : int
        How many patch names the bag has used up.
    healthy_looks : tuple of str
        Kinds that are no alarm for its strain.
    lent_names : tuple of KnownPatch
        Patches as another method has them: what is at such a place and isn't known yet takes its name.
    """

    segment: int = 0
    spawned_at: datetime | None = None
    state: FaceState | None = None
    patches: tuple[KnownPatch, ...] = ()
    patches_named: int = 0
    healthy_looks: tuple[str, ...] = ()
    lent_names: tuple[KnownPatch, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PatchScore:
    """A suspect patch with its name and history."""

    patch: str
    seen: PatchSeen
    first_seen_at: datetime
    growth_mm2_per_day: float | None
    flags: tuple[Flag, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Score:
    """One bag's score in one photo, after remembering: what becomes a row, and what the next photo needs."""

    evidence: Evidence
    segment: int
    coverage: float | None
    low: float | None
    high: float | None
    density: float | None
    patches: tuple[PatchScore, ...]
    state: FaceState | None
    flags: tuple[Flag, ...] = ()
