"""Photo files read once: what they are, and their upright sRGB pixels."""

from __future__ import annotations

import hashlib
import io
import math
import struct
import warnings
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import cv2
import numpy as np
import pillow_heif
from PIL import ExifTags, Image, ImageCms, UnidentifiedImageError

from colscan.errors import PhotoError
from colscan.flags import Flag
from colscan.photo.model import ImageRGB, PhotoRef
from colscan.photo.when import resolve_taken_at
from colscan.units import now

PHOTO_SUFFIXES = (".jpg", ".jpeg", ".png", ".heic", ".heif")
_FORMATS = ("JPEG", "PNG", "HEIF")
_COLOURLESS = frozenset({"1", "L", "LA", "La", "I", "F", "I;16", "I;16B", "I;16L"})
# A bag seen at less than this cannot be told apart from its card.
_LEAST_SIDE_PX = 240
# Exif 2.32, SceneCaptureType: night scene. CustomRendered as phones use it beyond the standard's 0 and 1:
# HDR without and with the plain picture kept beside it, portrait HDR.
_NIGHT_SCENE = 3
_HDR_RENDERED = (2, 3, 7)
_TURNS = {3: cv2.ROTATE_180, 6: cv2.ROTATE_90_CLOCKWISE, 8: cv2.ROTATE_90_COUNTERCLOCKWISE}
# What the decoder leaves where a JPEG's data end before its picture does, by mode (by experiment:
# libjpeg-turbo 3.2, baseline and progressive, restart markers or none); and the share of the height that may
# look so.
_NO_DATA = {"L": 128, "RGB": 128, "CMYK": 127}
_EMPTY_SHARE = 0.05
# So many pixels are handed over at once.
_STRIP_PX = 1_000_000
# What Pillow's readers are known to raise on damaged files.
_DAMAGE = (
    OSError,
    SyntaxError,
    ValueError,
    EOFError,
    struct.error,
    zlib.error,
    TypeError,
    KeyError,
    IndexError,
)

pillow_heif.register_heif_opener()
# The size is checked here, by the trial's own limit, before anything is decoded. Pillow's limit is one for
# all threads, so it can't be lifted for a while only.
Image.MAX_IMAGE_PIXELS = None


def read_ref(
    path: Path,
    *,
    max_megapixels: float,
    zone: ZoneInfo,
    not_before: datetime,
    taken_at: datetime | None = None,
    name: str | None = None,
) -> PhotoRef:
    """Which photo a file is: its bytes' hash, when it was taken, by which camera; no pixel is decoded.

    Parameters
    ----------
    path : Path
        A JPEG, PNG or HEIC file.
    max_megapixels : float
        Larger photos are refused.
    zone : ZoneInfo
        The trial's zone, for times without an offset.
    not_before : datetime
        The trial's first inoculation.
    taken_at : datetime, optional
        What the user said; wins over everything in the file.
    name : str, optional
        What the photo was called where it is from; without it, as the file is called.

    Raises
    ------
    PhotoError
        When the file can't be read, is no photo, is too large or too small, or can't be placed in time.
    """
    raw, called = _read_bytes(path), name or path.name
    with _opened(raw, called, max_megapixels) as image:
        exif = image.getexif()
        details = dict(exif.get_ifd(ExifTags.IFD.Exif))
        camera = _camera(dict(exif) | details)
        modes = _modes(details)
    taken = resolve_taken_at(
        path, details, zone=zone, not_before=not_before, now=now(), option=taken_at, name=name
    )
    return PhotoRef(
        path=path,
        name=called,
        sha256=hashlib.sha256(raw).hexdigest(),
        taken_at=taken.at,
        taken_at_from=taken.source,
        camera=camera,
        flags=(*taken.flags, *modes),
    )


def load_rgb(path: Path, *, max_megapixels: float, raw: bytes | None = None) -> ImageRGB:
    """The upright sRGB pixels of a photo.

    Parameters
    ----------
    path : Path
        A JPEG, PNG or HEIC file.
    max_megapixels : float
        Larger photos are refused before they are decoded.
    raw : bytes, optional
        The file's bytes, where the file isn't on this machine.

    Returns
    -------
    ndarray of uint8, shape (H, W, 3)

    Raises
    ------
    PhotoError
        When the file can't be read, has no colour, or is too large or too small.
    """
    content = _read_bytes(path) if raw is None else raw
    with _opened(content, path.name, max_megapixels) as image:
        if image.mode in _COLOURLESS:
            msg = f"{path.name}: is a picture without colour ({image.mode})."
            raise PhotoError(msg, "Colour is what tells mycelium from substrate: photograph in colour.")
        _check_filled(image)
        return _pixels(image, _to_srgb(image))


def colour_error(path: Path, *, max_megapixels: float, raw: bytes | None = None) -> float:
    """How far a JPEG's coding alone puts colours off: standard deviation of Cb and Cr, levels of 255.

    The mean of a block and its two broadest waves are kept in whole steps: an error is a step over the root
    of 12, and an eighth of that in a pixel. 0 for files of other formats.

    Parameters
    ----------
    path : Path
        A JPEG, PNG or HEIC file.
    max_megapixels : float
        Larger photos are refused.
    raw : bytes, optional
        The file's bytes, where the file isn't on this machine.

    Raises
    ------
    PhotoError
        When the file can't be read, or is too large or too small.

    References
    ----------
    ITU-T T.81 (1992), Digital compression and coding of continuous-tone still images, A.3.
    """
    content = _read_bytes(path) if raw is None else raw
    with _opened(content, path.name, max_megapixels) as image:
        # Which table of steps each component has stands last in its entry; tables go by rows of 8.
        tables, components = getattr(image, "quantization", {}), getattr(image, "layer", [])
        steps = tables.get(components[1][3]) if len(components) > 1 else None
        if steps is None:
            return 0.0
        mean, across, down = (steps[k] for k in (0, 1, 8))
        return math.hypot(mean, across, down) / 8 / math.sqrt(12)


def load_small(path: Path, *, least_px: int, max_megapixels: float) -> ImageRGB:
    """The same upright pixels at a size that is quick to read, with sides of `least_px` or more.

    A picture without colour is given three equal channels.

    Parameters
    ----------
    path : Path
        A JPEG, PNG or HEIC file.
    least_px : int
        What the sides must have at least; of JPEG as much as its halvings allow is left undecoded.
    max_megapixels : float
        Larger photos are refused before they are decoded.

    Returns
    -------
    ndarray of uint8, shape (H, W, 3)

    Raises
    ------
    PhotoError
        When the file can't be read, or is too large or too small.
    """
    with _opened(_read_bytes(path), path.name, max_megapixels) as image:
        image.draft(None, (least_px, least_px))
        _check_filled(image)
        return _pixels(image, _to_srgb(image))


def load_rgba(path: Path, *, max_megapixels: float) -> ImageRGB:
    """The upright pixels of a picture that a person painted, with their opacity; colour or none.

    Parameters
    ----------
    path : Path
        A JPEG, PNG or HEIC file.
    max_megapixels : float
        Larger pictures are refused before they are decoded.

    Returns
    -------
    ndarray of uint8, shape (H, W, 4)

    Raises
    ------
    PhotoError
        When the file can't be read, or is too large or too small.
    """
    with _opened(_read_bytes(path), path.name, max_megapixels) as image:
        return _pixels(image, lambda strip: strip.convert("RGBA"))


def _read_bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        msg = f"{path}: can't be read ({error.strerror})."
        raise PhotoError(msg, "Check the name, and that the file may be read.") from error


@contextmanager
def _opened(raw: bytes, name: str, max_megapixels: float) -> Iterator[Image.Image]:
    """Open an image whose size we check ourselves; whatever its reader raises says that it is damaged."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # damaged metadata is no news to the grower
            with Image.open(io.BytesIO(raw), formats=_FORMATS) as image:
                _check_size(image, name, max_megapixels)
                yield image
    except _DAMAGE as error:
        msg = f"{name}: is not a readable JPEG, PNG or HEIC photo ({_first_line(error)})."
        raise PhotoError(msg, "Copy it from the phone again; a half-copied file looks like this.") from error


def _first_line(error: BaseException) -> str:
    if isinstance(error, UnidentifiedImageError):
        return "unknown format"
    return (str(error).splitlines() or [type(error).__name__])[0]


def _check_size(image: Image.Image, name: str, max_megapixels: float) -> None:
    width, height = image.size
    if width * height > max_megapixels * 1e6:
        megapixels = f"{width * height / 1e6:.0f} megapixels ({width} x {height})"
        msg = f"{name}: has {megapixels}, more than the {max_megapixels:g} allowed."
        raise PhotoError(msg, "Make it smaller, or raise max_photo_megapixels under [limits] in trial.toml.")
    if min(width, height) < _LEAST_SIDE_PX:
        msg = f"{name}: is only {width} x {height} px."
        raise PhotoError(msg, f"Give the photo itself, not a thumbnail: at least {_LEAST_SIDE_PX} px a side.")


def _check_filled(image: Image.Image) -> None:
    """Find a JPEG damaged (`OSError`) that has its end mark, but no data for its lowest rows over its width.

    A reader that misses the mark says so itself; with the mark it fills the rest with grey and says nothing.
    """
    if image.format != "JPEG" or image.mode not in _NO_DATA:
        return
    width, height = image.size
    lowest = image.crop((0, height - math.ceil(_EMPTY_SHARE * height), width, height))
    if (np.asarray(lowest) == _NO_DATA[image.mode]).all():
        msg = "its lower part is empty"
        raise OSError(msg)


def _upright(pixels: ImageRGB, orientation: int) -> ImageRGB:
    """Pixels turned and mirrored as an EXIF orientation says; 1 and what is no orientation leave them."""
    if orientation in _TURNS:
        return np.asarray(cv2.rotate(pixels, _TURNS[orientation]), np.uint8)
    if orientation in (5, 7):
        pixels = np.asarray(cv2.transpose(pixels), np.uint8)
    mirrored = {2: 1, 4: 0, 7: -1}.get(orientation)
    return pixels if mirrored is None else np.asarray(cv2.flip(pixels, mirrored), np.uint8)


def _other_profile(image: Image.Image) -> ImageCms.ImageCmsProfile | None:
    """The profile of an image whose colours aren't sRGB's."""
    profile = image.info.get("icc_profile")
    if not profile or image.mode not in ("RGB", "CMYK"):
        return None
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        return None if "sRGB" in ImageCms.getProfileDescription(source) else source
    except (ImageCms.PyCMSError, OSError):
        return None  # a broken profile says nothing; the pixels are read as sRGB


def _to_srgb(image: Image.Image) -> Callable[[Image.Image], Image.Image]:
    """What makes a part of an image 8-bit sRGB; phones write wider colour spaces, and say so in a profile."""
    source = _other_profile(image)
    if source is not None:
        # A broken profile says nothing; the pixels are read as sRGB.
        with suppress(ImageCms.PyCMSError, OSError):
            transform = ImageCms.buildTransform(source, ImageCms.createProfile("sRGB"), image.mode, "RGB")
            return lambda strip: ImageCms.applyTransform(strip, transform) or strip.convert("RGB")
    return lambda strip: strip if strip.mode == "RGB" else strip.convert("RGB")


def _pixels(image: Image.Image, convert: Callable[[Image.Image], Image.Image]) -> ImageRGB:
    """The upright pixels of an image, converted strip by strip: of large photos each copy is 400 MB."""
    width, height = image.size
    rows = max(1, _STRIP_PX // width)
    pixels: ImageRGB | None = None
    for top in range(0, height, rows):
        strip = np.asarray(convert(image.crop((0, top, width, min(top + rows, height)))))
        if pixels is None:
            pixels = np.empty((height, *strip.shape[1:]), np.uint8)
        pixels[top : top + rows] = strip
    assert pixels is not None, "no side of an image is 0"
    orientation = image.getexif().get(ExifTags.Base.Orientation, 1)
    image.close()
    return _upright(pixels, orientation)


def _camera(tags: dict[int, object]) -> str | None:
    names = [
        _text(tags.get(tag)) for tag in (ExifTags.Base.Make, ExifTags.Base.Model, ExifTags.Base.LensModel)
    ]
    flash = tags.get(ExifTags.Base.Flash)
    if isinstance(flash, int):
        names.append("flash" if flash & 1 else "no flash")
    said = [name for name in names if name]
    return ", ".join(said) or None


def _modes(details: dict[int, object]) -> tuple[Flag, ...]:
    """What EXIF says of how the camera made up the picture; many a phone says nothing of it."""
    said = {
        Flag.NIGHT_MODE: details.get(ExifTags.Base.SceneCaptureType) == _NIGHT_SCENE,
        Flag.HDR_MODE: details.get(ExifTags.Base.CustomRendered) in _HDR_RENDERED,
    }
    return tuple(flag for flag, applies in said.items() if applies)


def _text(value: object) -> str:
    return " ".join(str(value).replace("\0", " ").split()) if value is not None else ""
