"""Which photos show which shelf, in order of time."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence

from colscan.app.web.site import Standing
from colscan.ledger.columns import PhotoRow

Shelves = Mapping[str, Sequence[PhotoRow]]
"""Photos in order of time, by the shelf's name; `""` for photos of which no shelf is known."""


def shelves_of(here: Standing) -> Shelves:
    """Return the photos of each shelf: as said of the photo, or where most of its bags stand.

    Photos in which no bag of the trial is scored are left out, for they show none of its shelves.

    Parameters
    ----------
    here : Standing
        The trial.
    """
    bags: defaultdict[str, list[str]] = defaultdict(list)
    for row in here.ledger.scores:
        bags[row.photo_sha256].append(row.bag)
    places = {code: record.shelf for code, record in here.records.items()}
    shelves: defaultdict[str, list[PhotoRow]] = defaultdict(list)
    for photo in here.ledger.photos:
        if photo.photo_sha256 in bags:
            shelves[photo.shelf or _most_common(bags[photo.photo_sha256], places)].append(photo)
    return dict(sorted(shelves.items()))


def _most_common(bags: Sequence[str], places: Mapping[str, str | None]) -> str:
    shelves = Counter(shelf for bag in bags if (shelf := places.get(bag)))
    return shelves.most_common(1)[0][0] if shelves else ""


def newest_of(shelves: Shelves) -> PhotoRow | None:
    """Return the newest photo of the first shelf; None without a photo."""
    return next((photos[-1] for photos in shelves.values()), None)


def neighbours_of(photos: Sequence[PhotoRow], photo: PhotoRow) -> tuple[PhotoRow | None, PhotoRow | None]:
    """Return the photos of the same shelf before and after one.

    Parameters
    ----------
    photos : sequence of PhotoRow
        The shelf's photos in order of time.
    photo : PhotoRow
        One of them; or another, which has none beside it.
    """
    if photo not in photos:
        return None, None
    place = photos.index(photo)
    return photos[place - 1] if place else None, photos[place + 1] if place + 1 < len(photos) else None
