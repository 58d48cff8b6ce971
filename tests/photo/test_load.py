"""Photo files: read upright in colour, or refused with the reason."""

import hashlib
import struct
import subprocess
import sys
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from PIL import Image, ImageCms
from png_bytes import png

from colscan.errors import PhotoError
from colscan.flags import Flag
from colscan.photo import load_rgb, read_ref, to_linear
from colscan.photo.load import load_rgba, load_small

ZONE = ZoneInfo("America/New_York")
LONG_AGO = datetime(2000, 1, 1, tzinfo=UTC)


def corners(width: int = 320, height: int = 256) -> Image.Image:
    """A picture whose top left quarter is red, top right green, bottom left blue, bottom right white."""
    rgb = np.full((height, width, 3), 255, np.uint8)
    rgb[: height // 2, : width // 2] = (255, 0, 0)
    rgb[: height // 2, width // 2 :] = (0, 255, 0)
    rgb[height // 2 :, : width // 2] = (0, 0, 255)
    return Image.fromarray(rgb)


def quarters(rgb: np.ndarray) -> list[str]:
    """The colours of a picture's quarters, top left to bottom right, as letters."""
    height, width = rgb.shape[:2]
    names = {
        (True, False, False): "r",
        (False, True, False): "g",
        (False, False, True): "b",
        (True, True, True): "w",
    }
    at = [(height // 4, width // 4), (height // 4, 3 * width // 4), (3 * height // 4, width // 4)]
    return [
        names[tuple(bool(v > 127) for v in rgb[row, col])]
        for row, col in [*at, (3 * height // 4, 3 * width // 4)]
    ]


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("suffix", [".jpg", ".png"])
def test_orientation_is_applied_once(tmp_path: Path, orientation: int, suffix: str) -> None:
    """Each EXIF orientation shows the picture as it was meant (Exif 2.32, tag 0x0112)."""
    undo = {
        1: None,
        2: Image.Transpose.FLIP_LEFT_RIGHT,
        3: Image.Transpose.ROTATE_180,
        4: Image.Transpose.FLIP_TOP_BOTTOM,
        5: Image.Transpose.TRANSPOSE,
        6: Image.Transpose.ROTATE_90,
        7: Image.Transpose.TRANSVERSE,
        8: Image.Transpose.ROTATE_270,
    }[orientation]
    stored = corners() if undo is None else corners().transpose(undo)
    exif = Image.Exif()
    exif[0x0112] = orientation
    path = tmp_path / f"photo{suffix}"
    stored.save(path, exif=exif)
    rgb = load_rgb(path, max_megapixels=1)
    assert rgb.shape == (256, 320, 3)
    assert quarters(rgb) == ["r", "g", "b", "w"]


def test_what_stands_behind_a_jpeg_is_passed_over(tmp_path: Path) -> None:
    """A phone's film behind its photo changes no pixel."""
    noise = np.random.default_rng(7).integers(0, 256, (30, 41, 3), np.uint8)
    ends, goes_on = tmp_path / "ends.jpg", tmp_path / "goes-on.jpg"
    Image.fromarray(noise).resize((410, 300)).save(ends, quality=90)
    goes_on.write_bytes(ends.read_bytes() + b"a film")
    first, second = (load_rgb(path, max_megapixels=1) for path in (ends, goes_on))
    assert np.array_equal(first, second)


def test_the_decoder_s_own_words_are_kept_away(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """Bytes too many before the end, as some phones write them, or a part lost: nothing is printed."""
    noise = np.random.default_rng(7).integers(0, 256, (300, 410, 3), np.uint8)
    path = tmp_path / "odd.jpg"
    Image.fromarray(noise).save(path, quality=90)
    raw = path.read_bytes()
    half, end = len(raw) // 2, raw[-2:]
    for odd in (raw[:-2] + bytes(11) + end, raw[: -len(raw) // 50] + end, raw[:half] + raw[half + 999 :]):
        path.write_bytes(odd)
        load_rgb(path, max_megapixels=1)
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("mode", ["RGB", "L", "CMYK"])
@pytest.mark.parametrize("progressive", [False, True])
def test_a_jpeg_that_ends_before_its_picture_is_refused(tmp_path: Path, mode: str, progressive: bool) -> None:
    """Like one that lacks its end mark; a progressive one is when even its first, coarse scan is cut."""
    noise = np.random.default_rng(7).integers(0, 256, (30, 41, 3), np.uint8)
    path = tmp_path / "half.jpg"
    Image.fromarray(noise).resize((410, 300)).convert(mode).save(path, quality=90, progressive=progressive)
    raw = path.read_bytes()
    load_small(path, least_px=240, max_megapixels=1)
    path.write_bytes(raw[: len(raw) // (12 if progressive else 2)] + raw[-2:])
    refused = pytest.raises(PhotoError, match=r"half\.jpg: is not a readable .*its lower part is empty")
    with refused as told:
        load_small(path, least_px=240, max_megapixels=1)
    assert told.value.hint == "Copy it from the phone again; a half-copied file looks like this."
    if mode != "L":
        with refused:
            load_rgb(path, max_megapixels=1)


@pytest.mark.parametrize("edge", [0, 127, 129, 255])
def test_a_flat_edge_is_no_damage(tmp_path: Path, edge: int) -> None:
    """A black board, or a burnt-out one, along the lower side of a JPEG; any grey in a PNG."""
    rgb = np.asarray(corners()).copy()
    rgb[200:] = edge
    Image.fromarray(rgb).save(tmp_path / "edge.jpg", quality=95)
    rgb[200:] = 128
    Image.fromarray(rgb).save(tmp_path / "edge.png")
    for name in ("edge.jpg", "edge.png"):
        assert load_rgb(tmp_path / name, max_megapixels=1)[240:].std() < 2


def test_heic_is_read_upright(tmp_path: Path) -> None:
    """HEIC, whose reader rotates by itself, is not rotated twice."""
    stored = corners().transpose(Image.Transpose.ROTATE_90)
    stored.getexif()[0x0112] = 6
    path = tmp_path / "photo.heic"
    stored.save(path, format="HEIF", quality=90)
    rgb = load_rgb(path, max_megapixels=1)
    assert rgb.shape == (256, 320, 3)
    assert quarters(rgb) == ["r", "g", "b", "w"]


@pytest.mark.parametrize("mode", ["CMYK", "RGBA", "P"])
def test_unusual_colour_modes_are_read(tmp_path: Path, mode: str) -> None:
    """CMYK, alpha and palettes become plain colour."""
    path = tmp_path / ("photo.jpg" if mode == "CMYK" else "photo.png")
    corners().convert(mode).save(path)
    assert quarters(load_rgb(path, max_megapixels=1)) == ["r", "g", "b", "w"]


def wide_profile() -> bytes:
    """The sRGB profile with its red and green primaries exchanged and another name: another space."""
    raw = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    (count,) = struct.unpack_from(">I", raw, 128)
    entries = {bytes(raw[132 + 12 * i : 136 + 12 * i]): 136 + 12 * i for i in range(count)}
    red, green = entries[b"rXYZ"], entries[b"gXYZ"]
    raw[red : red + 8], raw[green : green + 8] = raw[green : green + 8], raw[red : red + 8]
    return bytes(raw).replace("sRGB".encode("utf-16-be"), "wide".encode("utf-16-be"))


def test_wide_colour_becomes_srgb(tmp_path: Path) -> None:
    """A profile other than sRGB is applied: where red and green change places, so do the quarters."""
    path = tmp_path / "tagged.png"
    corners().save(path, icc_profile=wide_profile())
    assert quarters(load_rgb(path, max_megapixels=1)) == ["g", "r", "b", "w"]


def test_wide_colour_is_turned_upright(tmp_path: Path) -> None:
    """A photo with both an orientation and a profile keeps its orientation through the conversion."""
    exif = Image.Exif()
    exif[0x0112] = 6
    path = tmp_path / "tagged.jpg"
    corners().transpose(Image.Transpose.ROTATE_90).save(path, icc_profile=wide_profile(), exif=exif)
    assert quarters(load_rgb(path, max_megapixels=1)) == ["g", "r", "b", "w"]


def test_broken_profile_is_passed_over(tmp_path: Path) -> None:
    """A profile that can't be read doesn't cost the photo."""
    path = tmp_path / "photo.png"
    corners().save(path, icc_profile=b"no profile")
    assert quarters(load_rgb(path, max_megapixels=1)) == ["r", "g", "b", "w"]


@pytest.mark.parametrize(("mode", "name"), [("L", "photo.jpg"), ("LA", "photo.png"), ("I;16", "photo.png")])
def test_pictures_without_colour_are_refused(tmp_path: Path, mode: str, name: str) -> None:
    """Grey photos (8 and 16 bit) say that they lack colour."""
    grey = Image.new("I;16", (320, 256), 30000) if mode == "I;16" else corners().convert(mode)
    grey.save(tmp_path / name)
    with pytest.raises(PhotoError, match=rf"{name}.*without colour"):
        load_rgb(tmp_path / name, max_megapixels=1)


def test_sixteen_bit_colour_is_read(tmp_path: Path) -> None:
    """A 16-bit colour PNG is read at 8 bits."""
    height, width = 256, 320
    row = b"\0" + struct.pack(">3H", 0xFFFF, 0, 0) * width
    path = tmp_path / "deep.png"
    path.write_bytes(png(width, height, bit_depth=16, data=row * height))
    assert load_rgb(path, max_megapixels=1)[0, 0].tolist() == [255, 0, 0]


def test_a_bomb_is_refused_before_decoding(tmp_path: Path) -> None:
    """200 megapixels are refused by the header alone, with the limit and how to raise it."""
    path = tmp_path / "bomb.png"
    path.write_bytes(png(20_000, 10_000))
    for read in (load_rgb, partial(read_ref, zone=ZONE, not_before=LONG_AGO)):
        with pytest.raises(PhotoError, match=r"200 megapixels.*more than the 100 allowed") as refused:
            read(path, max_megapixels=100)
        assert "max_photo_megapixels" in refused.value.hint


def test_a_raised_limit_is_kept(tmp_path: Path) -> None:
    """A raised limit lets a larger photo through to its decoder, which finds this one empty."""
    path = tmp_path / "bomb.png"
    path.write_bytes(png(20_000, 10_000))
    with pytest.raises(PhotoError, match="not a readable"):
        load_rgb(path, max_megapixels=300)


def test_a_single_pixel_is_refused(tmp_path: Path) -> None:
    """A 1 x 1 PNG is no photo."""
    path = tmp_path / "dot.png"
    path.write_bytes(png(1, 1, data=b"\0\xff\0\0"))
    with pytest.raises(PhotoError, match="only 1 x 1 px"):
        load_rgb(path, max_megapixels=100)


def test_damaged_files_are_refused(tmp_path: Path) -> None:
    """Text, nothing, a missing file and a photo cut anywhere are each refused with a name."""
    whole = tmp_path / "whole.jpg"
    corners().save(whole)
    raw = whole.read_bytes()
    cases = {"text.jpg": b"no photo", "empty.jpg": b"", "head.jpg": raw[:4], "half.jpg": raw[: len(raw) // 2]}
    for name, content in cases.items():
        (tmp_path / name).write_bytes(content)
        with pytest.raises(PhotoError, match=rf"{name}.*not a readable"):
            load_rgb(tmp_path / name, max_megapixels=100)
    with pytest.raises(PhotoError, match=r"gone\.jpg: can't be read"):
        load_rgb(tmp_path / "gone.jpg", max_megapixels=100)


def test_ref_names_bytes_and_camera(tmp_path: Path) -> None:
    """The hash is that of the file's bytes; the camera is maker, model, lens and flash."""
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Maker", "Model 1"
    exif.get_ifd(0x8769).update({0x9003: "2026:03:09 10:07:20", 0xA434: "wide 4 mm", 0x9209: 1})
    path = tmp_path / "photo.jpg"
    corners().save(path, exif=exif)
    ref = read_ref(path, max_megapixels=1, zone=ZONE, not_before=LONG_AGO)
    assert ref.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert ref.camera == "Maker, Model 1, wide 4 mm, flash"
    assert ref.name == "photo.jpg"


def test_linear_light_is_srgbs() -> None:
    """Decoding follows IEC 61966-2-1 (values computed with colour-science 0.4.7)."""
    known = {
        1: 0.00030353,
        10: 0.00303527,
        11: 0.00334654,
        64: 0.05126946,
        118: 0.18116424,
        188: 0.50288646,
        255: 1.0,
    }
    decoded = to_linear(np.array(list(known), np.uint8))
    assert decoded == pytest.approx(list(known.values()), abs=1e-7)


@pytest.mark.parametrize(
    ("tag", "value", "flags"),
    [
        (0xA406, 3, {Flag.NIGHT_MODE}),
        (0xA406, 1, set()),
        (0xA401, 3, {Flag.HDR_MODE}),
        (0xA401, 4, set()),
    ],
)
def test_night_and_hdr_are_said(tmp_path: Path, tag: int, value: int, flags: set[Flag]) -> None:
    """SceneCaptureType night scene, CustomRendered HDR; not a landscape, nor the plain one of a pair."""
    exif = Image.Exif()
    exif.get_ifd(0x8769).update({0x9003: "2026:03:09 10:07:20", tag: value})
    path = tmp_path / "photo.jpg"
    corners().save(path, exif=exif)
    ref = read_ref(path, max_megapixels=1, zone=ZONE, not_before=LONG_AGO)
    assert set(ref.flags) == {Flag.ZONE_ASSUMED} | flags


_PEAK = """
import sys
from pathlib import Path
from colscan.photo.load import load_rgb, load_rgba

def taken(word):
    return next(int(line.split()[1]) for line in open("/proc/self/status") if line.startswith(word)) * 1024

before = taken("VmRSS")
for read in (load_rgb, load_rgba):
    height, width = read(Path(sys.argv[1]), max_megapixels=100).shape[:2]
print((taken("VmHWM") - before) / (height * width))
"""


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="asks the system for its memory")
@pytest.mark.parametrize("name", ["a.jpg", "a.heic", "a.png"])
def test_the_largest_photo_fits_into_memory(tmp_path: Path, name: str) -> None:
    """Up to 10.5 bytes a pixel: with 100 megapixels and the libraries that stays under 1.2 GB."""
    exif = Image.Exif()
    exif[0x0112] = 6
    path = tmp_path / name
    # Most of HEIC's time is the writer's search for what saves bytes.
    quick = {"enc_params": {"preset": "ultrafast"}} if name.endswith("heic") else {}
    Image.new("RGB", (4000, 3000)).save(path, exif=exif.tobytes(), icc_profile=wide_profile(), **quick)
    done = subprocess.run(
        [sys.executable, "-c", _PEAK, str(path)], capture_output=True, text=True, check=True
    )
    assert float(done.stdout) < 10.5


@pytest.mark.parametrize("mode", ["RGB", "RGBA"])
def test_pixels_are_handed_over_in_strips(mode: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Some rows at a time, whatever is left for the last strip: all of them, in their order."""
    monkeypatch.setattr("colscan.photo.load._STRIP_PX", 7 * 250)
    pixels = np.random.default_rng(2).integers(0, 256, (301, 250, len(mode)), np.uint8)
    Image.fromarray(pixels).save(tmp_path / "photo.png")
    read = load_rgb if mode == "RGB" else load_rgba
    np.testing.assert_array_equal(read(tmp_path / "photo.png", max_megapixels=1), pixels)
