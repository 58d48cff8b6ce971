"""What a scanned photo comes to, in words for who took it: the same in the terminal and on the page."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import tzinfo
from typing import TYPE_CHECKING

from colscan.flags import RETAKE, Flag
from colscan.units import count_of, days_between

if TYPE_CHECKING:
    from colscan.app.batch.outcomes import AlreadyKnown, Recorded
    from colscan.ledger.columns import ScoreRow

LEAST_TAG_PX = 30.0
"""Below this a tag may be missed."""
GOOD_TAG_PX = 60.0
RETAKE_DAYS = 1.0
"""A day later a bag is another: its next photo is due, and this one can't be taken again."""


def tell_tag_size(smallest_px: float | None) -> Iterator[str]:
    """Yield how to photograph from nearer, when the smallest tag of a photo asks for it."""
    if smallest_px is not None and smallest_px < LEAST_TAG_PX:
        size = f"the smallest tag is {smallest_px:.0f} px wide"
        yield f"step closer: {size}; {LEAST_TAG_PX:.0f} is the least, {GOOD_TAG_PX:.0f} is better"


def smallest_tag_px(scores: Iterable[ScoreRow]) -> float | None:
    """The side of the smallest tag by the scale at its bag; None when no bag was told by its card."""
    from colscan.locate.cards import TAG_MM

    scales = [row.mm_per_px for row in scores if row.identified_by == "card" and row.mm_per_px]
    return TAG_MM / max(scales) if scales else None


def tell_known(outcome: AlreadyKnown, *, taken_at: bool) -> Iterator[str]:
    """Yield why a photo was passed over; and, when its time was said, that this changes nothing."""
    if outcome.twin:
        yield f"{outcome.name}: the same picture, to the byte, as {outcome.twin}; passed over"
        return
    if outcome.copy_of:
        yield f"{outcome.name}: the same picture as {outcome.copy_of}, saved again; passed over"
        return
    yield f"{outcome.name}: scanned before, passed over"
    if outcome.put_back:
        yield f"its original was gone from photos/ and is put back: {outcome.put_back.name}"
    if taken_at:
        yield "--taken-at changes nothing in a photo that is recorded: its time stands"


def tell_recorded(outcome: Recorded, zone: tzinfo) -> Iterator[str]:
    """Yield what a photo showed, what to photograph again and why, and what else its taker should know.

    Of an old photo, which nobody can take again, only what is wrong with it.

    Parameters
    ----------
    outcome : Recorded
        The photo.
    zone : tzinfo
        The trial's zone, in which times are told.
    """
    photo = outcome.photo
    spot = f"{photo.smallest_spot_mm:.0f} mm" if photo.smallest_spot_mm is not None else "unknown"
    when = f"{photo.taken_at.astimezone(zone):%Y-%m-%d %H:%M}"
    yield f"{photo.photo}  {when}  {count_of(photo.bags_found, 'bag')}  smallest spot it can show: {spot}"
    is_fresh = days_between(photo.taken_at, photo.scanned_at) <= RETAKE_DAYS
    for flag in Flag:
        bags = [row.bag for row in outcome.scores if flag in row.flags]
        if bags:
            yield _tell_flag(flag, bags, len(outcome.scores), is_fresh=is_fresh)
    for flag in photo.problems:
        yield f"{flag}: {flag.meaning} {flag.remedy}"
    for patch in outcome.suspects:
        if Flag.EXPECTED not in patch.flags:
            yield f"suspect patch: {patch.bag} {patch.patch}, {patch.kind}, {patch.area_mm2:.0f} mm2"
    if outcome.missing:
        yield f"not in this photo: {', '.join(outcome.missing)}"
    yield from outcome.remarks
    if outcome.overlay:
        yield f"drawn: {outcome.overlay}"


def _tell_flag(flag: Flag, bags: list[str], of: int, *, is_fresh: bool) -> str:
    whose = f"all {of} bags" if len(bags) == of > 1 else ", ".join(bags)
    if flag not in RETAKE:
        return f"note: {whose} - {flag}. {flag.meaning} {flag.remedy}"
    if is_fresh:
        return f"again: {whose} - {flag}. {flag.remedy}"
    return f"note: {whose} - {flag}. {flag.meaning}"


def tell_first(recorded: Iterable[Recorded]) -> Iterator[str]:
    """Yield a line for each bag whose first photo should be taken again at once, and one for the others.

    Where it can't be taken again any more, that is said instead.
    """
    outcomes = list(recorded)
    why = {bag: reasons for outcome in outcomes for bag, reasons in outcome.first.items()}
    too_late = {bag for outcome in outcomes for bag in outcome.too_late}
    for bag, reasons in sorted(why.items()):
        if reasons and bag in too_late:
            faults = "; and ".join(reason.partition("; ")[0] for reason in reasons)  # not what to do about it
            yield f"{bag}: no good first photo, and too late for one, so its scores are less sure: {faults}"
        elif reasons:
            yield f"{bag}: retake this first photo now: {'; and '.join(reasons)}"
    serve = {bag for bag, reasons in why.items() if not reasons}
    good = {
        row.bag
        for outcome in outcomes
        for row in outcome.scores
        if row.bag in serve & outcome.first.keys() and not RETAKE & set(row.flags)
    }
    if good:
        yield f"first photos are good: {', '.join(sorted(good))}"
    if serve - good:
        yield f"first photos will do, with the doubt said above: {', '.join(sorted(serve - good))}"
