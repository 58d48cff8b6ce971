"""The shelf's page: a kept photo with its bags' outlines drawn over it, and the same as a list."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from statistics import median

from flask import Flask, Response, abort, render_template, request

from colscan.app.kept_pictures import WIDTHS_PX, photo_picture
from colscan.app.web.marks import SIGNS
from colscan.app.web.shelf_photos import neighbours_of, newest_of, shelves_of
from colscan.app.web.site import Site, Standing
from colscan.errors import PhotoError, TrialError
from colscan.growth.model import Advice, BagStatus
from colscan.growth.records import is_alarm
from colscan.ledger.columns import PhotoRow, ScoreRow, SuspectRow

KEPT_BY_BROWSERS = {"Cache-Control": "private, max-age=600"}
"""A photo's bytes never change under its hash; still private, as the trial is."""
_LETTERS_ACROSS = 12
"""Letters of a label that fit across a face: three quarters of what its small lines have."""
_LABEL_LETTERS_HIGH = 4.4
"""Height of a label with all its lines, in letters."""
_LARGEST_LETTER_SHARE = 1 / 36


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenBag:
    """A bag in a photo.

    Parameters
    ----------
    score : ScoreRow
        What was measured there.
    status : BagStatus
        The bag today.
    is_latest : bool
        Whether it is the bag's latest photo: only there does what to do today belong on the picture.
    patches : tuple of SuspectRow
        Suspect patches there that are neither expected nor called harmless.
    """

    score: ScoreRow
    status: BagStatus
    is_latest: bool
    patches: tuple[SuspectRow, ...]

    @property
    def middle_px(self) -> float:
        """The outline's middle, x."""
        xs = [x for x, _ in self.score.outline]
        return (min(xs) + max(xs)) / 2

    def label_top_px(self, letter_px: float, height_px: int) -> float:
        """Where its label begins, y: under the face, so that nothing of the bag is covered, in the photo."""
        lowest = max(y for _, y in self.score.outline)
        return min(lowest + 0.3 * letter_px, height_px - _LABEL_LETTERS_HIGH * letter_px)


@dataclass(frozen=True, slots=True, kw_only=True)
class MissedBag:
    """A bag that a photo doesn't show, and when it was seen last; None without any photo."""

    bag: str
    last_seen_at: datetime | None
    last_photo: str | None


def add_shelf(app: Flask, site: Site) -> None:
    """Give an application its page of shelves, and the kept photos.

    Parameters
    ----------
    app : Flask
        The application.
    site : Site
        The trial.
    """
    app.add_url_rule("/shelf", "shelf", lambda: _show(site.open()))
    app.add_url_rule("/photo", "photo", lambda: _send_photo(site.open()))


def _show(here: Standing) -> str:
    shelves = shelves_of(here)
    photo = _find_photo(here, request.args["photo"]) if "photo" in request.args else newest_of(shelves)
    if photo is None:
        return render_template("shelf.html", here=here, photo=None)
    shelf = next((name for name, photos in shelves.items() if photo in photos), "")
    before, after = neighbours_of(shelves.get(shelf, ()), photo)
    bags = _bags_in(here, photo)
    return render_template(
        "shelf.html",
        here=here,
        photo=photo,
        shelf=shelf,
        mixed=_mixed_shelves(here, photo, bags),
        newest={name: photos[-1] for name, photos in shelves.items()},
        before=before,
        after=after,
        bags=bags,
        missed=_missed(here, {one.score.bag for one in bags}, shelf),
        trouble=_trouble_with(here, photo),
        letter_px=_letter_px(photo, bags),
        widths=WIDTHS_PX,
        signs=SIGNS,
        signs_shown=[
            advice for advice in Advice if advice in SIGNS and any(_advised(one) is advice for one in bags)
        ],
    )


def _mixed_shelves(here: Standing, photo: PhotoRow, bags: Sequence[SeenBag]) -> list[str]:
    """The shelves that a photo shows when none of them holds most of its bags; else nothing."""
    shelves = Counter(shelf for one in bags if (shelf := here.records[one.score.bag].shelf))
    held = max(shelves.values(), default=0)
    return [] if photo.shelf or 2 * held > len(bags) else sorted(shelves)


def _find_photo(here: Standing, sha256: str) -> PhotoRow:
    photo = next((row for row in here.ledger.photos if row.photo_sha256 == sha256), None)
    if photo is None:
        msg = f"The trial {here.trial.name} has no such photo."
        raise TrialError(msg, "Go to the newest photo: its page names the others.")
    return photo


def _bags_in(here: Standing, photo: PhotoRow) -> tuple[SeenBag, ...]:
    scores = {row.bag: row for row in here.ledger.scores if row.photo_sha256 == photo.photo_sha256}
    seen = []
    for code, record in here.records.items():
        score = scores.get(code)
        if score is None:
            continue
        calls = record.standing_calls
        patches = [row for row in record.suspects if row.photo_sha256 == photo.photo_sha256]
        seen.append(
            SeenBag(
                score=score,
                status=here.statuses[code],
                is_latest=record.scores[-1].photo_sha256 == photo.photo_sha256,
                patches=tuple(row for row in patches if is_alarm(row, calls)),
            )
        )
    return tuple(seen)


def _advised(one: SeenBag) -> Advice | None:
    return one.status.advice if one.is_latest else None


def _missed(here: Standing, seen: set[str], shelf: str) -> tuple[MissedBag, ...]:
    """The bags of the photo's shelf, or of the plan where none is known, that it doesn't show."""
    missed = []
    for code, record in here.records.items():
        if code in seen or (shelf and record.shelf not in (None, shelf)):
            continue
        last = record.scores[-1] if record.scores else None
        missed.append(
            MissedBag(
                bag=code,
                last_seen_at=last.taken_at if last else None,
                last_photo=last.photo_sha256 if last else None,
            )
        )
    return tuple(missed)


def _trouble_with(here: Standing, photo: PhotoRow) -> PhotoError | None:
    """What keeps a photo from being shown. Its smallest picture is made to know, and kept for the page."""
    try:
        photo_picture(here.folder, photo, width_px=WIDTHS_PX[0], covers_cards=here.blind)
    except PhotoError as error:
        return error
    return None


def _letter_px(photo: PhotoRow, bags: tuple[SeenBag, ...]) -> float:
    """Height of the letters over the photo, px of the photo."""
    spans = [
        max(x for x, _ in one.score.outline) - min(x for x, _ in one.score.outline)
        for one in bags
        if one.score.outline
    ]
    largest = max(photo.width_px, photo.height_px) * _LARGEST_LETTER_SHARE
    # A letter is some 0.6 of its height wide.
    return min(median(spans) / _LETTERS_ACROSS / 0.6, largest) if spans else largest


def _send_photo(here: Standing) -> Response:
    photo = _find_photo(here, request.args.get("photo", ""))
    width = next((width for width in WIDTHS_PX if str(width) == request.args.get("width")), None)
    if width is None:
        abort(404, f"A photo is shown {', '.join(map(str, WIDTHS_PX))} px wide.")
    try:
        data = photo_picture(here.folder, photo, width_px=width, covers_cards=here.blind)
    except PhotoError as error:
        abort(404, f"{error.message} {error.hint}")
    return Response(data, mimetype="image/jpeg", headers=KEPT_BY_BROWSERS)
