"""Bags without a card: proposed on a photo, and, with a map of their shelf, told by where they stand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from colscan.flags import Flag
from colscan.locate.cards import find_cards
from colscan.locate.carry import Carried, Homography, Scene, carry_places, describe_scene, register
from colscan.locate.model import BagView, Card, Points, Standing
from colscan.locate.propose import Proposal, propose_faces
from colscan.locate.reference import BURNT_OUT_LIGHT, Reference
from colscan.locate.standin import stand_in_references
from colscan.locate.uncarded import view_without_card
from colscan.locate.wall import Surroundings, lamp_change, surroundings
from colscan.photo.model import ImageRGB
from colscan.trial.model import LAST_BAG_TAG, SHELF_TAGS


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MappedShelf:
    """A shelf's map, ready for other photos of it.

    Parameters
    ----------
    scene : Scene
        The shelf in the mapped photo.
    places : tuple of (int, ndarray)
        By `Bag.key`, where each bag's face was, px of the mapped photo.
    around : Surroundings
        Its light apart from the bags.
    paper : ndarray, shape (3,)
        What stood in for white paper there; NaN when nothing did, or it was burnt out.
    """

    scene: Scene
    places: tuple[tuple[int, Points], ...]
    around: Surroundings
    paper: NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Placed:
    """What stands on mapped shelves in one photo.

    Parameters
    ----------
    views : tuple of BagView
        Of the bags that stand where the map has them.
    disputed : tuple of int
        Bags that their card names, in the place that the map has for another.
    standing : Standing
        Of the others.
    """

    views: tuple[BagView, ...] = ()
    disputed: tuple[int, ...] = ()
    standing: Standing = Standing()


def map_shelf(
    rgb: ImageRGB, places: Sequence[tuple[int, Points]], others_px: Sequence[Points]
) -> MappedShelf:
    """A shelf ready to be found in other photos.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3), uint8
        The mapped photo, upright.
    places : sequence of (int, ndarray)
        By `Bag.key`, the face of each bag.
    others_px : sequence of ndarray
        Faces of bags in it that are not on the map: they may move too.
    """
    outlines = [*(outline for _, outline in places), *others_px]
    cards = find_cards(rgb)
    proposals = propose_uncarded(rgb, cards, ())
    references = _references(rgb, cards, proposals) if proposals else ()
    sure = [
        r.paper for r in references if Flag.REFERENCE_CLIPPED not in r.flags and np.isfinite(r.paper).all()
    ]
    return MappedShelf(
        scene=describe_scene(rgb, outlines, cards=cards),
        places=tuple(places),
        around=surroundings(rgb, outlines),
        paper=np.median(sure, axis=0) if sure else np.full(3, np.nan),
    )


def propose_uncarded(
    rgb: ImageRGB, cards: Sequence[Card], carded_px: Sequence[Points]
) -> tuple[Proposal, ...]:
    """The blocks in a photo that no bag's card names.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3), uint8
        The photo, upright.
    cards : sequence of Card
        Its cards.
    carded_px : sequence of ndarray
        Faces of the bags that have one.
    """
    scales = [card.mm_per_px for card in cards]
    proposals = propose_faces(rgb, scale_mm_per_px=float(np.median(scales)) if scales else None)
    named = [*carded_px, *(card.corners_px for card in cards if card.tag <= LAST_BAG_TAG)]
    return tuple(p for p in proposals if not any(_stands_in(what, p.outline_px) for what in named))


def place_bags(
    rgb: ImageRGB,
    cards: Sequence[Card],
    carded: Sequence[tuple[int, Points]],
    shelves: Sequence[MappedShelf],
) -> Placed:
    """The bags without a card in a photo, by the map that fits it best.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3), uint8
        The photo, upright.
    cards : sequence of Card
        Its cards.
    carded : sequence of (int, ndarray)
        By key, the faces of the bags that have one.
    shelves : sequence of MappedShelf
        The trial's.
    """
    carded_px = [face for _, face in carded]
    proposals = propose_uncarded(rgb, cards, carded_px)
    outlines = [proposal.outline_px for proposal in proposals]
    fits = [(shelf, register(shelf.scene, rgb, [*outlines, *carded_px], cards=cards)) for shelf in shelves]
    found = [(shelf, change) for shelf, change in fits if change is not None]
    if not found:
        return Placed(standing=Standing(strangers=len(proposals)))
    shelf, change = max(found, key=_trust)
    size_px = (rgb.shape[1], rgb.shape[0])
    carried = carry_places(change, [outline for _, outline in shelf.places], outlines, size_px=size_px)
    places = list(zip((key for key, _ in shelf.places), carried.places, strict=True))
    seen_around = surroundings(rgb, [*outlines, *carded_px])
    lamp = lamp_change(shelf.around, seen_around, change)
    references = _references(rgb, cards, proposals)
    if lamp is not None and np.isfinite(shelf.paper).all():
        references = tuple(_in_colour(reference, shelf.paper * lamp) for reference in references)
    found_in = {k: place.proposal for k, place in places if place.proposal is not None and not place.doubtful}
    return Placed(
        views=_views(rgb, carded_px, proposals, references, found_in),
        disputed=tuple(
            k for k, face in carded if any(_stands_in(face, place.outline_px) for _, place in places)
        ),
        standing=_standing(places, strangers=len(carried.extra)),
    )


def _trust(fit: tuple[MappedShelf, Homography]) -> float:
    return fit[1].likeness


def _standing(places: Sequence[tuple[int, Carried]], *, strangers: int) -> Standing:
    return Standing(
        empty=tuple(k for k, place in places if place.in_view and place.proposal is None),
        doubtful=tuple(k for k, place in places if place.doubtful),
        strangers=strangers,
        shelf_known=True,
    )


def _stands_in(what: Points, outline: Points) -> bool:
    """Whether the middle of something lies in an outline's box."""
    middle = (what.min(0) + what.max(0)) / 2
    return bool(((outline.min(0) < middle) & (middle < outline.max(0))).all())


def _references(rgb: ImageRGB, cards: Sequence[Card], proposals: Sequence[Proposal]) -> tuple[Reference, ...]:
    if not proposals:
        return ()
    return stand_in_references(
        rgb,
        [proposal.outline_px for proposal in proposals],
        mm_per_px=proposals[0].mm_per_px,
        shelf_cards=[card for card in cards if card.tag in SHELF_TAGS],
    )


def _in_colour(reference: Reference, colour: NDArray[np.float64]) -> Reference:
    """A stand-in with the colour that wall and posts tell: its own may be burnt out, or hang in other light.

    Its brightness is by its channels that are not burnt out.
    """
    if Flag.NO_REFERENCE not in reference.flags or not np.isfinite(reference.paper).all():
        return reference
    ratio = reference.paper / colour
    whole = reference.paper < BURNT_OUT_LIGHT
    brightness = float(np.median(ratio[whole])) if whole.any() else float(ratio.max())
    return replace(reference, paper=colour * brightness)


def _views(
    rgb: ImageRGB,
    carded_px: Sequence[Points],
    proposals: Sequence[Proposal],
    references: Sequence[Reference],
    found_in: dict[int, int],
) -> tuple[BagView, ...]:
    """The views of the bags without a card, by key: which of the proposals was found in its place."""
    outlines = [proposal.outline_px for proposal in proposals]
    return tuple(
        view_without_card(
            rgb,
            outlines[k],
            key=key,
            mm_per_px=proposals[k].mm_per_px,
            reference=references[k],
            others_px=[*(other for i, other in enumerate(outlines) if i != k), *carded_px],
        )
        for key, k in found_in.items()
    )
