"""Pictures of faces from a scanned trial."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from colscan.app.faces import WIDTH_PX, face_pictures
from colscan.ledger import read_ledger
from colscan.locate.lights import HeldAgainst
from colscan.trial import load_trial


def test_a_picture_of_each_bag_and_photo(scanned: Path) -> None:
    """In the plan's order, then by time; of the declared width; in words what they show."""
    faces = face_pictures(scanned, load_trial(scanned), read_ledger(scanned))
    assert [(one.bag.bag, round(one.day)) for one in faces.pictures] == [
        (f"B{i:02}", day) for i in range(1, 9) for day in (0, 3)
    ]
    assert max(one.rgb.shape[1] for one in faces.pictures) <= WIDTH_PX + 3
    assert min(one.rgb.shape[1] for one in faces.pictures) > WIDTH_PX / 2
    assert {one.held_against for one in faces.pictures} == {HeldAgainst.OWN_CARD}
    assert faces.pictures[0].alt.startswith("Bag B01, PO-3, bran 0 %, day 0.1; 0 % of the side in view")


def test_chosen_scores_alone(scanned: Path) -> None:
    """Other faces are not cut out."""
    ledger = read_ledger(scanned)
    chosen = ledger.scores[:1]
    faces = face_pictures(scanned, load_trial(scanned), ledger, scores=chosen)
    assert [one.score for one in faces.pictures] == list(chosen)


def test_photos_in_other_light_look_alike(scanned: Path) -> None:
    """The substrate of day 0 has one look in all bags, though the lamp lights each differently."""
    faces = face_pictures(scanned, load_trial(scanned), read_ledger(scanned))
    first = [one for one in faces.pictures if one.day < 1]
    middles = [np.median(one.rgb[100:200, 80:160].reshape(-1, 3), 0) for one in first]
    assert np.ptp(middles, axis=0).max() < 40


def test_a_photo_that_is_gone_is_named(scanned: Path) -> None:
    """The others are shown all the same; a damaged file counts as gone."""
    one, two = sorted((scanned / "photos").iterdir())
    one.unlink()
    two.write_bytes(b"no photo")
    ledger = read_ledger(scanned)
    faces = face_pictures(scanned, load_trial(scanned), ledger)
    assert faces.pictures == ()
    assert faces.gone == tuple(photo.photo for photo in ledger.photos)
