"""The page of a shelf's map: which bag without a card stands where, drawn and named on one photo."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from threading import Lock
from typing import BinaryIO, cast

import numpy as np
from flask import Flask, Response, jsonify, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from colscan.app import mapping
from colscan.app.batch.originals import find_by_hash
from colscan.app.web.arrivals import said_time
from colscan.app.web.map_form import check_outlines, parse_outlines, read_names
from colscan.app.web.map_photos import MapPhotos
from colscan.app.web.site import Site, Standing
from colscan.errors import ColscanError, PhotoError, TrialError
from colscan.locate import Points
from colscan.locate.cards import cover_cards
from colscan.photo import PhotoRef, load_rgb
from colscan.photo.load import load_small
from colscan.present.overlay import encode_jpeg
from colscan.trial.shelfmap import DEFAULT_SHELF, MAP_FILE, ShelfMap, read_shelfmaps

PICTURE_SIDE_PX = 1200
"""What the shown picture's shorter side has at least, where the photo has it."""
STALE = "The map was changed since this page was opened: nothing is kept yet."
LOOK_FIRST = (
    "What you drew is still here. Look at the map as it is now, "
    "in a second tab; to replace it by yours, press Keep this map once more."
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawing:
    """What the page draws on a photo.

    Parameters
    ----------
    ref : PhotoRef
        The photo.
    width_px, height_px : int
        Its size.
    outlines_px : tuple of ndarray
        Numbers 1, 2, ...
    codes : tuple of str
        The bag of each, empty for none.
    source : str
        Where they are from: ``map``, ``proposal`` or ``form``.
    carded : tuple of (str, ndarray)
        Bags that their card names.
    """

    ref: PhotoRef
    width_px: int
    height_px: int
    outlines_px: tuple[Points, ...]
    codes: tuple[str, ...]
    source: str
    carded: tuple[tuple[str, Points], ...] = ()

    @property
    def corners(self) -> list[list[list[float]]]:
        """The outlines in tenths of a pixel, as shelfmap.toml has them, within the photo."""
        return [
            [
                [
                    round(min(max(float(x), 0.0), self.width_px), 1),
                    round(min(max(float(y), 0.0), self.height_px), 1),
                ]
                for x, y in outline
            ]
            for outline in self.outlines_px
        ]

    @property
    def text(self) -> str:
        """The corners as the form's field has them."""
        return json.dumps(self.corners, separators=(",", ":"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Desk:
    """What a map of a shelf is made from, as it stands.

    Parameters
    ----------
    here : Standing
        The trial.
    maps : tuple of ShelfMap
        Of all its shelves.
    mark : str
        Of the file that has them: another one when it was changed.
    shelf : str
        The shelf that is asked for.
    """

    here: Standing
    maps: tuple[ShelfMap, ...]
    mark: str
    shelf: str

    @property
    def own(self) -> ShelfMap | None:
        """The shelf's map."""
        return next((one for one in self.maps if one.shelf == self.shelf), None)

    @property
    def called(self) -> str:
        """The shelf in a sentence: the only one need not have a name."""
        return "the shelf" if self.shelf == DEFAULT_SHELF else f"shelf {self.shelf}"

    @property
    def shelves(self) -> tuple[str, ...]:
        """The shelves that may have a map."""
        return _shelves(self.here, self.maps)

    @property
    def choices(self) -> dict[str, str]:
        """Bags that may have a place, each with what is to be known of it: those of this shelf first."""
        there = {place.bag: one.shelf for one in self.maps for place in one.places if one.shelf != self.shelf}
        bags = [bag for bag in self.here.trial.bags if bag.tag is None]
        bags.sort(key=lambda bag: bag.shelf not in (None, self.shelf))
        told = {bag.bag: f"planned on {bag.shelf}" for bag in bags if bag.shelf not in (None, self.shelf)}
        told |= {code: f"on the map of {shelf}" for code, shelf in there.items()}
        return {bag.bag: told.get(bag.bag, "") for bag in bags}

    @property
    def in_order(self) -> list[str]:
        """The bags that stand on the shelf by the plan, in its order."""
        only = self.shelf if len(self.shelves) > 1 else None
        return [bag.bag for bag in mapping.bags_to_place(self.here.trial, only, ())]


class _Maps:
    """The page's doors, with what they share."""

    def __init__(self, site: Site) -> None:
        self._site = site
        self._photos = MapPhotos()
        self._writing = Lock()

    def show(self) -> str:
        desk = _open(self._site, request.args)
        sha256 = request.args.get("photo", "")
        if not sha256 and desk.own and find_by_hash(desk.here.folder, desk.own.photo_sha256):
            sha256 = desk.own.photo_sha256
        drawing = self._draw(desk, sha256) if sha256 and desk.choices else None
        return _page(desk, drawing, kept=request.args.get("kept") == desk.mark)

    def _draw(self, desk: Desk, sha256: str) -> Drawing:
        """The shelf's map where the photo is its own, else what the photo shows."""
        ref = self._photos.find(desk.here, desk.maps, sha256)
        if desk.own is not None and desk.own.photo_sha256 == sha256:
            return _drawn_before(desk.own, ref)
        sketch = self._photos.sketch(desk.here, ref)
        bags = desk.in_order if len(desk.in_order) == len(sketch.outlines_px) else ()
        return Drawing(
            ref=ref,
            width_px=sketch.width_px,
            height_px=sketch.height_px,
            outlines_px=sketch.outlines_px,
            codes=tuple(bags) or ("",) * len(sketch.outlines_px),
            source="proposal",
            carded=sketch.carded,
        )

    def send_picture(self) -> Response:
        here = self._site.open()
        ref = self._photos.find(here, _read_maps(here), request.args.get("photo", ""))
        limit = here.trial.limits.max_photo_megapixels
        if here.blind:
            picture = cover_cards(
                load_rgb(ref.path, max_megapixels=limit)
            )  # in a small one tags aren't found
        else:
            picture = load_small(ref.path, least_px=PICTURE_SIDE_PX, max_megapixels=limit)
        # A photo's bytes never change under its hash; still private, as the trial is.
        headers = {"Cache-Control": "private, max-age=600"}
        return Response(encode_jpeg(picture), mimetype="image/jpeg", headers=headers)

    def take_photo(self) -> tuple[Response, int]:
        """A photo as the body of a script's request; what is wrong with it goes back to the script."""
        desk = _open(self._site, request.args)
        try:
            ref = self._photos.add(
                desk.here.trial,
                cast(BinaryIO, request.stream),
                name=request.args.get("name", ""),
                taken_at=said_time(request.args.get("taken_at"), desk.here.trial),
            )
        except (PhotoError, TrialError) as error:
            return jsonify(what=error.message, next_step=error.hint), 400
        return jsonify(page=url_for("map", shelf=desk.shelf, photo=ref.sha256)), 201

    def keep(self) -> AnyResponse | tuple[str, int]:
        with self._writing:
            desk = _open(self._site, request.form)
            ref = self._photos.find(desk.here, desk.maps, request.form.get("photo", ""))
            rgb = load_rgb(ref.path, max_megapixels=desk.here.trial.limits.max_photo_megapixels)
            drawing = _read_drawing(ref, width_px=rgb.shape[1], height_px=rgb.shape[0])
            if request.form.get("mark") != desk.mark:
                return _page(desk, drawing, trouble=TrialError(STALE, LOOK_FIRST)), 409
            try:
                check_outlines(drawing.outlines_px)
                names = read_names(desk.here.trial, drawing.codes, len(drawing.outlines_px))
            except TrialError as error:
                return _page(desk, drawing, trouble=error), 400
            made = mapping.Proposed(rgb=rgb, outlines_px=drawing.outlines_px, carded=())
            # The picture can be made again, and comes first: should it fail, nothing was recorded.
            mapping.draw_map(desk.here.folder, made, names, desk.shelf)
            mapping.keep_map(desk.here.folder, ref, made, names, desk.shelf)
            mark = _mark(desk.here)
        return redirect(url_for("map", shelf=desk.shelf, kept=mark), code=303)


def add_map(app: Flask, site: Site) -> None:
    """Give an application the page of shelves' maps, its photos, and the doors to send one and to keep a map.

    Parameters
    ----------
    app : Flask
        The application.
    site : Site
        The trial.
    """
    maps = _Maps(site)
    app.add_url_rule("/map", "map", maps.show)
    app.add_url_rule("/map/picture", "map_picture", maps.send_picture)
    app.add_url_rule("/map/photo", "map_photo", maps.take_photo, methods=["POST"])
    app.add_url_rule("/map/keep", "map_keep", maps.keep, methods=["POST"])


def _open(site: Site, asked: Mapping[str, str]) -> Desk:
    here = site.open()
    mark = _mark(here)
    maps = _read_maps(here)
    shelves = _shelves(here, maps)
    shelf = asked.get("shelf") or shelves[0]
    if shelf not in shelves:
        msg = f"{shelf!r} is no shelf of the trial {here.trial.name}."
        raise TrialError(msg, f"Its shelves are: {', '.join(shelves)}.")
    return Desk(here=here, maps=maps, mark=mark, shelf=shelf)


def _read_maps(here: Standing) -> tuple[ShelfMap, ...]:
    return read_shelfmaps(here.folder, bags={bag.bag for bag in here.trial.bags})


def _shelves(here: Standing, maps: Sequence[ShelfMap]) -> tuple[str, ...]:
    """As `colscan map` has them: those of the plan; without any, those that were mapped."""
    named = sorted(here.trial.shelf_names) or [one.shelf for one in maps]
    return tuple(named) or (DEFAULT_SHELF,)


def _mark(here: Standing) -> str:
    try:
        return hashlib.sha256((here.folder / MAP_FILE).read_bytes()).hexdigest()
    except OSError:
        return "none"


def _drawn_before(own: ShelfMap, ref: PhotoRef) -> Drawing:
    return Drawing(
        ref=ref,
        width_px=own.width_px,
        height_px=own.height_px,
        outlines_px=tuple(np.array(place.outline_px) for place in own.places),
        codes=tuple(place.bag for place in own.places),
        source="map",
    )


def _read_drawing(ref: PhotoRef, *, width_px: int, height_px: int) -> Drawing:
    """What the form draws, though it may not be fit to be kept."""
    outlines = parse_outlines(request.form.get("outlines", ""), width_px=width_px, height_px=height_px)
    return Drawing(
        ref=ref,
        width_px=width_px,
        height_px=height_px,
        outlines_px=outlines,
        codes=tuple(request.form.getlist("bag")),
        source="form",
    )


def _page(
    desk: Desk, drawing: Drawing | None, *, kept: bool = False, trouble: ColscanError | None = None
) -> str:
    codes = list(drawing.codes) if drawing else []
    rows = [] if drawing is None else [*enumerate(drawing.corners, start=1)]
    codes += [""] * (len(rows) - len(codes))
    return render_template(
        "map.html",
        here=desk.here,
        desk=desk,
        drawing=drawing,
        rows=rows,
        codes=codes,
        kept=kept,
        trouble=trouble,
    )
