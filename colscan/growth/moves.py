"""What another version of the scoring moved: the same photos' rows by one method and by another."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from colscan.growth.judge import judge_bags
from colscan.growth.model import Advice
from colscan.growth.records import records_of
from colscan.ledger import Ledger
from colscan.ledger.columns import ScoreRow
from colscan.tables import columns_of
from colscan.trial.model import Trial

_DECIMALS = columns_of(ScoreRow)["coverage_pct"].decimals


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """How far a number moved in scores that both methods have, in points.

    Parameters
    ----------
    scores : int
        How many those are.
    total : float
        Sum of the changes.
    largest : float
        The one farthest from 0; 0 where none moved.
    bag, photo : str
        Where that is; empty where none moved.
    """

    scores: int = 0
    total: float = 0.0
    largest: float = 0.0
    bag: str = ""
    photo: str = ""

    @property
    def mean(self) -> float | None:
        """The mean change in points; None without scores."""
        return self.total / self.scores if self.scores else None


@dataclass(frozen=True, slots=True, kw_only=True)
class BagMoves:
    """What moved of one bag.

    Parameters
    ----------
    bag : str
        Its code.
    coverage, density : Change
        In scores that both methods measured.
    scores_came, scores_went : int
        Photos in which only the newer, or only the older method measured the bag.
    patches_came, patches_went : tuple of str
        Names of suspect patches that only one of them has.
    before, after : Advice
        What to do with the bag.
    """

    bag: str
    coverage: Change
    density: Change
    scores_came: int
    scores_went: int
    patches_came: tuple[str, ...]
    patches_went: tuple[str, ...]
    before: Advice
    after: Advice


def find_moves(trial: Trial, old: Ledger, new: Ledger, now: datetime) -> tuple[BagMoves, ...]:
    """Return what moved of each bag, in the plan's order.

    Parameters
    ----------
    trial : Trial
        The plan.
    old, new : Ledger
        The rows that counted before, and those that count now.
    now : datetime
        Today, aware: both are judged as of it.
    """
    judged = [{one.bag: one.advice for one in judge_bags(trial, ledger, now)} for ledger in (old, new)]
    moves = []
    for was, now_is in zip(records_of(trial, old), records_of(trial, new), strict=True):
        before, after = _measured(was.scores), _measured(now_is.scores)
        both = [(before[sha], after[sha]) for sha in before if sha in after]
        patches = [{row.patch: None for row in record.suspects} for record in (was, now_is)]
        moves.append(
            BagMoves(
                bag=was.bag.bag,
                coverage=_change((a, _less(b.coverage_pct, a.coverage_pct)) for a, b in both),
                density=_change((a, _less(b.density_pct, a.density_pct)) for a, b in both),
                scores_came=len(after.keys() - before.keys()),
                scores_went=len(before.keys() - after.keys()),
                patches_came=tuple(name for name in patches[1] if name not in patches[0]),
                patches_went=tuple(name for name in patches[0] if name not in patches[1]),
                before=judged[0][was.bag.bag],
                after=judged[1][was.bag.bag],
            )
        )
    return tuple(moves)


def sum_changes(changes: Sequence[Change]) -> Change:
    """Return the changes of several bags as one."""
    worst = max(changes, key=lambda change: abs(change.largest), default=Change())
    return Change(
        scores=sum(change.scores for change in changes),
        total=sum(change.total for change in changes),
        largest=worst.largest,
        bag=worst.bag,
        photo=worst.photo,
    )


def _measured(rows: Iterable[ScoreRow]) -> dict[str, ScoreRow]:
    return {row.photo_sha256: row for row in rows if row.coverage_pct is not None}


def _less(after: float | None, before: float | None) -> float | None:
    """The change as the files have it: rows that were just measured carry more decimals than those read."""
    if after is None or before is None:
        return None
    return round(round(after, _DECIMALS) - round(before, _DECIMALS), _DECIMALS)


def _change(moved: Iterable[tuple[ScoreRow, float | None]]) -> Change:
    return sum_changes(
        [
            Change(scores=1, total=points, largest=points, bag=row.bag, photo=row.photo)
            if points
            else Change(scores=1)
            for row, points in moved
            if points is not None
        ]
    )
