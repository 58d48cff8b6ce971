"""A trial of many bags and photos, written quickly as files in the true formats.

Photos come every three hours over the spawn run, each of one group of bags that stand together; treatments
are spread over the groups. Every eighth bag shows a patch from day 5 on that nobody judged, every 40th was
called harmless; some are shaken.
"""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from colscan.ledger.columns import EventRow, PhotoRow, ScoreRow, SuspectRow, VerdictRow
from colscan.score import METHOD
from colscan.tables import format_header, format_rows
from colscan.trial.model import LAST_BAG_TAG

START = datetime(2026, 3, 2, 8, tzinfo=UTC)
STEP = timedelta(hours=3)
LEVELS = (*((name, level) for name in ("bran", "hull", "meal") for level in (5, 10, 20)), ("none", 0))
STRAINS = (("PO-3", "Pleurotus ostreatus"), ("HE-2", "Hericium erinaceus"))
CORNERS = 32


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """How large a trial is: its bags, the photos of each, and the bags of a photo."""

    bags: int
    photos: int
    bags_a_photo: int

    @property
    def groups(self) -> int:
        """How many photos it takes to see every bag once."""
        return -(-self.bags // self.bags_a_photo)


def write_large_trial(folder: Path, size: Size) -> None:
    """Write plan, ledger, verdicts and events of a trial into a new folder.

    Parameters
    ----------
    folder : Path
        Where; it must not be there yet.
    size : Size
        How much.
    """
    folder.mkdir(parents=True)
    _write_plan(folder, size)
    with (
        (folder / PhotoRow.FILE).open("wb") as photos,
        (folder / ScoreRow.FILE).open("wb") as scores,
        (folder / SuspectRow.FILE).open("wb") as suspects,
    ):
        for file, row_type in ((photos, PhotoRow), (scores, ScoreRow), (suspects, SuspectRow)):
            file.write(format_header(row_type))
        for number in range(size.photos * size.groups):
            lines = photo_lines(number, size)
            photos.write(lines[0])
            scores.write(lines[1])
            suspects.write(lines[2])
    harmless = [_verdict(bag) for bag in range(0, size.bags, 40)]
    shaken = [_shaken(bag) for bag in range(3, size.bags, 50)]
    for row_type, rows in ((VerdictRow, harmless), (EventRow, shaken)):
        (folder / row_type.FILE).write_bytes(format_header(row_type) + format_rows(rows))


def _write_plan(folder: Path, size: Size) -> None:
    strains = "".join(f'[[strain]]\ncode = "{code}"\nspecies = "{species}"\n' for code, species in STRAINS)
    levels = "".join(f'[[treatment]]\nsupplement = "{n}"\nsupplement_pct = {pct}\n' for n, pct in LEVELS)
    (folder / "trial.toml").write_text(f'name = "hornbeam"\ntime_zone = "UTC"\n{strains}{levels}', "utf-8")
    lines = ["bag,tag,strain,supplement,supplement_pct,shelf,heat_run,inoculated_at"]
    for bag in range(size.bags):
        supplement, pct = LEVELS[bag % len(LEVELS)]
        strain = STRAINS[bag // len(LEVELS) % len(STRAINS)][0]
        shelf = f"S{bag // size.bags_a_photo:03d}"
        tag = bag if bag <= LAST_BAG_TAG else ""
        lines.append(
            f"{code_of(bag)},{tag},{strain},{supplement},{pct},{shelf},H{bag % 8},{START.isoformat()}"
        )
    (folder / "bags.csv").write_text("\n".join(lines) + "\n", "utf-8")


def code_of(bag: int) -> str:
    """Return the code of a bag by its number."""
    return f"B{bag:04d}"


def sha_of(number: int) -> str:
    """Return the SHA-256 of a photo by its number."""
    return hashlib.sha256(b"%d" % number).hexdigest()


def photo_rows(number: int, size: Size) -> tuple[PhotoRow, list[ScoreRow], list[SuspectRow]]:
    """Return the rows of one photo."""
    at, bags = _when(number, size), _bags_in(number, size)
    common = {"photo": f"d{number:06d}.jpg", "photo_sha256": sha_of(number), "taken_at": at, "method": METHOD}
    photo = PhotoRow(
        **common, taken_at_from="exif-offset", shelf=f"S{number % size.groups:03d}", camera="Render",
        width_px=4000, height_px=3000, bags_found=len(bags), mm_per_px=0.5, scanned_at=at,
    )  # fmt: skip
    scores = [ScoreRow(**common, **_seen(bag, at), scanned_at=at) for bag in bags]
    suspects = [SuspectRow(**common, **_patch(bag, at)) for bag in bags if _is_suspect(bag, at)]
    return photo, scores, suspects


def photo_lines(number: int, size: Size) -> tuple[bytes, bytes, bytes]:
    """Return the same as lines of the three files; much quicker, and a test holds them equal."""
    at, bags = _when(number, size), _bags_in(number, size)
    name, sha, time = f"d{number:06d}.jpg", sha_of(number), at.isoformat()
    photo = (
        f"{name},{sha},{time},exif-offset,S{number % size.groups:03d},Render,4000,3000,{len(bags)},0.5,,,,,"
        f"{METHOD},{time}\n"
    )
    head, tail = f"{name},{sha},{time},", f",,card,{METHOD},{time}\n"
    scores = "".join(_score_line(bag, at, head, tail) for bag in bags)
    suspects = "".join(_suspect_line(bag, at, head) for bag in bags if _is_suspect(bag, at))
    return photo.encode(), scores.encode(), suspects.encode()


def _score_line(bag: int, at: datetime, head: str, tail: str) -> str:
    seen = _pct(bag, at)
    low, high = max(0.0, seen - 3), min(100.0, seen + 3)
    suspects = int(_is_suspect(bag, at))
    return (
        f"{head}{code_of(bag)},{int(_is_shaken(bag, at))},{_text(seen)},{_text(low)},{_text(high)},"
        f"{_text(seen * 0.8)},2,{suspects},{suspects},0.5,{_OUTLINES[bag % len(_OUTLINES)]}{tail}"
    )


def _suspect_line(bag: int, at: datetime, head: str) -> str:
    outline = " ".join(_OUTLINES[bag % len(_OUTLINES)].split()[:24])
    return (
        f"{head}{code_of(bag)},p1,green,{_text1(20.0 + 10 * _days(at))},1,200,200,0,-4.5,{outline},0.9,"
        f"{(START + timedelta(days=5)).isoformat()},10,,{METHOD}\n"
    )


def _text1(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def _text(value: float) -> str:
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _when(number: int, size: Size) -> datetime:
    return START + number // size.groups * STEP + number % size.groups * timedelta(seconds=20)


def _bags_in(number: int, size: Size) -> range:
    first = number % size.groups * size.bags_a_photo
    return range(first, min(first + size.bags_a_photo, size.bags))


def _days(at: datetime) -> float:
    return (at - START) / timedelta(days=1)


def _pct(bag: int, at: datetime) -> float:
    wobble = math.sin(1.7 * bag + 23.0 * _days(at))
    grown = 100.0 / (1.0 + math.exp(-(_days(at) - 9 - bag % 7) / 1.8))
    return round(min(100.0, max(0.0, grown + wobble)), 2)


def _is_shaken(bag: int, at: datetime) -> bool:
    return bag % 50 == 3 and _days(at) >= 6


def _is_suspect(bag: int, at: datetime) -> bool:
    return bag % 8 == 0 and _days(at) >= 5


def _outline(kind: int) -> tuple[tuple[float, float], ...]:
    angles = (2 * math.pi * corner / CORNERS for corner in range(CORNERS))
    return tuple(
        (round(900 + kind + 300 * math.cos(a), 1), round(700 + kind + 400 * math.sin(a), 1)) for a in angles
    )


_SHAPES = [_outline(kind) for kind in range(64)]
_OUTLINES = [" ".join(f"{v:.1f}".removesuffix(".0") for xy in shape for v in xy) for shape in _SHAPES]


def _seen(bag: int, at: datetime) -> dict[str, object]:
    pct, suspects = _pct(bag, at), int(_is_suspect(bag, at))
    return {
        "bag": code_of(bag), "segment": int(_is_shaken(bag, at)), "coverage_pct": pct,
        "coverage_low_pct": max(0.0, pct - 3), "coverage_high_pct": min(100.0, pct + 3),
        "density_pct": pct * 0.8, "unseen_pct": 2.0, "suspects": suspects,
        "suspect_area_pct": float(suspects), "mm_per_px": 0.5, "outline": _SHAPES[bag % len(_SHAPES)],
        "identified_by": "card",
    }  # fmt: skip


def _patch(bag: int, at: datetime) -> dict[str, object]:
    return {
        "bag": code_of(bag), "patch": "p1", "kind": "green", "area_mm2": 20.0 + 10 * _days(at),
        "area_pct": 1.0, "x_px": 200.0, "y_px": 200.0, "x_mm": 0.0, "y_mm": -4.5, "strength": 0.9,
        "outline": _SHAPES[bag % len(_SHAPES)][:12],
        "first_seen_at": START + timedelta(days=5), "growth_mm2_per_day": 10.0,
    }  # fmt: skip


def _verdict(bag: int) -> VerdictRow:
    at = START + timedelta(days=12)
    return VerdictRow(at=at, bag=code_of(bag), patch="p1", call="harmless", found_by="photo")


def _shaken(bag: int) -> EventRow:
    return EventRow(at=START + timedelta(days=6), scope="bag", name=code_of(bag), what="shaken")
