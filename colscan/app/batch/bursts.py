"""Photos of a few minutes, measured together: a row a bag, and what one photo hides another fills in."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import partial

import numpy as np

from colscan.app.batch.baselines import is_early
from colscan.app.batch.jobs import (
    Elsewhere,
    Failure,
    PhotoJob,
    PhotoResult,
    measure_photo,
    or_failure,
    turned_back,
)
from colscan.app.batch.standing import doubted, identities
from colscan.flags import RETAKE
from colscan.ledger import Ledger, by_bag, times_of
from colscan.ledger.columns import SEGMENT_ENDERS, ScoreRow
from colscan.photo import PhotoRef
from colscan.score import METHOD, measure_burst, prepare_slim
from colscan.score.measure import smallest_spot_mm
from colscan.score.model import Baseline
from colscan.score.prepare import Prepared
from colscan.trial.model import Bag
from colscan.units import in_microseconds

BURST = timedelta(minutes=5)
"""Within this nothing grows that a photo can show (a tenth of a millimetre at most), and a grower has
photographed a shelf from all sides."""


def group_bursts(refs: Sequence[PhotoRef], breaks: Iterable[datetime]) -> list[tuple[PhotoRef, ...]]:
    """Photos in order of time, those within minutes of a first one together.

    Parameters
    ----------
    refs : sequence of PhotoRef
        In order of time.
    breaks : iterable of datetime
        When bags were shaken, turned or opened: photos before and after are apart.
    """
    breaks = tuple(breaks)
    groups: list[list[PhotoRef]] = []
    for ref in refs:
        if groups and in_one_burst(groups[-1][0].taken_at, ref.taken_at, breaks):
            groups[-1].append(ref)
        else:
            groups.append([ref])
    return [tuple(group) for group in groups]


def in_one_burst(one: datetime, other: datetime, breaks: Iterable[datetime]) -> bool:
    """Whether two photos were taken within minutes and nothing was done to the bags between."""
    first, last = min(one, other), max(one, other)
    return last - first <= BURST and not any(first < at <= last for at in breaks)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Looked:
    """A photo whose bags are ready to be combined; its result still without evidence."""

    job: PhotoJob
    result: PhotoResult
    bags: tuple[Prepared, ...]
    turns: int


def measure_together(jobs: tuple[PhotoJob, ...]) -> tuple[PhotoResult | Failure, ...]:
    """What the photos of a burst say, each bag under one of them; one by one where no bag is seen twice."""
    if len(jobs) == 1:
        return (measure_photo(jobs[0]),)
    looked = [or_failure(job.ref.name, partial(_look, job)) for job in jobs]
    able = [look for look in looked if not isinstance(look, Failure)]
    measured = or_failure(jobs[0].ref.name, partial(_measure, able))
    if isinstance(measured, Failure):
        return tuple(measure_photo(job) for job in jobs)
    results = iter(measured)
    return tuple(look if isinstance(look, Failure) else next(results) for look in looked)


def _look(job: PhotoJob) -> _Looked:
    seen = job.look()
    sighting = seen.sighting
    return _Looked(
        job=job,
        result=PhotoResult(
            ref=job.ref,
            width_px=seen.shape[1],
            height_px=seen.shape[0],
            evidence=(),
            repeated_tags=sighting.repeated_tags,
            standing=sighting.standing,
            told=tuple(identities(sighting.views, job.baselines, coverage={}).values()),
        ),
        bags=prepare_slim(sighting.views, job.baselines),
        turns=sighting.turns,
    )


def _measure(looked: Sequence[_Looked]) -> list[PhotoResult]:
    if not looked:
        return []
    found = measure_burst([look.bags for look in looked], looked[0].job.baselines)
    results = []
    for look, evidence in zip(looked, found, strict=True):
        shape = (look.result.height_px, look.result.width_px)
        led = {seen.key for seen in evidence}
        told = {one.key: one for one in look.result.told}
        results.append(
            replace(
                look.result,
                evidence=tuple(turned_back(doubted(s, told.get(s.key)), look.turns, shape) for s in evidence),
                elsewhere=tuple(_elsewhere(bag) for bag in look.bags if bag.view.key not in led),
            )
        )
    if not any(result.elsewhere for result in results):
        return results
    burst = results[0].ref.sha256
    return [replace(result, burst=burst) for result in results]


def _elsewhere(bag: Prepared) -> Elsewhere:
    view = bag.view
    return Elsewhere(key=view.key, mm_per_px=view.mm_per_px, smallest_spot_mm=smallest_spot_mm(view))


def leave_scored(
    result: PhotoResult,
    bags: Mapping[int, Bag],
    ledger: Ledger,
    *,
    baselines: Mapping[int, Baseline],
) -> PhotoResult:
    """A photo's result without the bags that an earlier scan scored well from a photo of the same minutes.

    A bag whose score there has a flag that asks for another photo is scored again; so is one whose first
    photo should be taken again.

    Parameters
    ----------
    bags : mapping of int to Bag
        The trial's bags, by key.
    ledger : Ledger
        As it was before this scan.
    baselines : mapping of int to Baseline
        By key.
    """
    taken_at, breaks = result.ref.taken_at, breaks_of(ledger)
    scores, at = by_bag(ledger.scores), in_microseconds(taken_at)
    done = set()
    for key in {seen.key for seen in result.evidence} & bags.keys():
        bag = bags[key]
        rows = scores.get(bag.bag, ())
        for place in np.flatnonzero(np.abs(times_of(rows) - at) <= BURST // timedelta(microseconds=1)):
            row = rows[int(place)]
            good = row.method == METHOD and in_one_burst(row.taken_at, taken_at, breaks) and _is_good(row)
            if good and (not is_early(taken_at, bag) or _began_with(row, baselines.get(key))):
                done.add(key)
    left = tuple(seen for seen in result.evidence if seen.key not in done)
    moved = tuple(
        Elsewhere(key=seen.key, mm_per_px=seen.mm_per_px, smallest_spot_mm=seen.smallest_spot_mm)
        for seen in result.evidence
        if seen.key in done
    )
    return replace(result, evidence=left, elsewhere=result.elsewhere + moved)


def breaks_of(ledger: Ledger) -> tuple[datetime, ...]:
    """When something was done to bags after which they don't look as before."""
    return tuple(event.at for event in ledger.events if event.what in SEGMENT_ENDERS)


def _is_good(row: ScoreRow) -> bool:
    return row.coverage_pct is not None and not RETAKE & set(row.flags)


def _began_with(row: ScoreRow, baseline: Baseline | None) -> bool:
    """Whether a bag has a good first photo and this row is of it."""
    return baseline is not None and not baseline.faults and row.photo_sha256 in baseline.photos
