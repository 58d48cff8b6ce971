"""From scores to the ledger's rows: fractions become percent, and each row says which photo it is of."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from statistics import median

from colscan.app.batch.jobs import Elsewhere, PhotoResult
from colscan.flags import Flag
from colscan.ledger.columns import PhotoRow, ScoreRow, SuspectRow
from colscan.photo import PhotoRef
from colscan.score import METHOD
from colscan.score.model import Evidence, PatchScore, Score
from colscan.trial.model import Bag
from colscan.units import to_pct


def photo_row(
    result: PhotoResult,
    scores: Sequence[Score],
    *,
    shelf: str | None,
    problems: tuple[Flag, ...],
    elsewhere: Sequence[Elsewhere],
    at: datetime,
) -> PhotoRow:
    """The row of a photo, with the median scale and smallest spot of the bags that were found."""
    ref = result.ref
    seen: list[Evidence | Elsewhere] = [*(score.evidence for score in scores), *elsewhere]
    return PhotoRow(
        photo=ref.name,
        photo_sha256=ref.sha256,
        taken_at=ref.taken_at,
        taken_at_from=ref.taken_at_from,
        shelf=shelf,
        camera=ref.camera,
        width_px=result.width_px,
        height_px=result.height_px,
        bags_found=len(seen),
        bags_elsewhere=len(elsewhere) or None,
        burst=result.burst,
        mm_per_px=median(e.mm_per_px for e in seen) if seen else None,
        smallest_spot_mm=median(e.smallest_spot_mm for e in seen) if seen else None,
        problems=problems,
        method=METHOD,
        scanned_at=at,
    )


def score_row(bag: Bag, score: Score, ref: PhotoRef, *, at: datetime) -> ScoreRow:
    """The row of one bag in one photo."""
    evidence = score.evidence
    suspect_area = sum(patch.seen.area for patch in score.patches)
    return ScoreRow(
        photo=ref.name,
        photo_sha256=ref.sha256,
        taken_at=ref.taken_at,
        bag=bag.bag,
        segment=score.segment,
        coverage_pct=to_pct(score.coverage),
        coverage_low_pct=to_pct(score.low),
        coverage_high_pct=to_pct(score.high),
        density_pct=to_pct(score.density),
        unseen_pct=to_pct(evidence.unseen),
        suspects=len(score.patches),
        suspect_area_pct=to_pct(min(1.0, suspect_area)),
        mm_per_px=evidence.mm_per_px,
        outline=tuple((float(x), float(y)) for x, y in evidence.outline_px),
        flags=score.flags,
        identified_by="map" if bag.tag is None else "card",
        method=METHOD,
        scanned_at=at,
    )


def suspect_row(bag: str, patch: PatchScore, ref: PhotoRef) -> SuspectRow:
    """The row of one suspect patch in one photo."""
    seen = patch.seen
    return SuspectRow(
        photo=ref.name,
        photo_sha256=ref.sha256,
        taken_at=ref.taken_at,
        bag=bag,
        patch=patch.patch,
        kind=seen.kind,
        area_mm2=seen.area_mm2,
        area_pct=100.0 * min(1.0, seen.area),
        x_px=seen.centre_px[0],
        y_px=seen.centre_px[1],
        x_mm=seen.centre_mm[0],
        y_mm=seen.centre_mm[1],
        outline=tuple((float(x), float(y)) for x, y in seen.outline_px),
        strength=seen.strength,
        first_seen_at=patch.first_seen_at,
        growth_mm2_per_day=patch.growth_mm2_per_day,
        flags=patch.flags,
        method=METHOD,
    )
