"""Which bags carry a question, and what tells their levels apart from what else they shared."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from colscan.growth.compare.blocks import Blocks, choose_blocks, find_coinciding
from colscan.growth.model import FloatSeries
from colscan.growth.outcomes import Milestone, Outcome, Span


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """What is held against what.

    Parameters
    ----------
    kind : str
        `level` or `trend`.
    scope : str
        A strain's code, or `ALL_STRAINS`.
    treatment, control : str
        As in `Contrast`.
    levels : tuple of str
        The treatments in question, the control or lowest level first.
    """

    kind: Literal["level", "trend"]
    scope: str
    treatment: str
    control: str
    levels: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Case:
    """The bags that carry a question.

    Parameters
    ----------
    outcomes : tuple of Outcome, length N
        What became of them.
    labels : tuple of int
        0 for the control or lowest level, rising.
    doses : ndarray, shape (N,)
        What an effect is per unit of: the level in percent for a trend, else the label.
    blocks : tuple of str
        Bags of one block exchange labels.
    words : str
        What the bags of a block share.
    """

    outcomes: tuple[Outcome, ...]
    labels: tuple[int, ...]
    doses: FloatSeries
    blocks: tuple[str, ...]
    words: str

    @property
    def strains(self) -> tuple[str, ...]:
        """Each bag's strain."""
        return tuple(outcome.bag.strain for outcome in self.outcomes)

    def spans(self, milestone: Milestone) -> tuple[Span, ...]:
        """When each bag came to a milestone; one that was lost before had not by its onset."""
        return tuple(outcome.reached(milestone) for outcome in self.outcomes)

    @property
    def together(self) -> NDArray[np.bool_]:
        """Whether two bags share a block, shape (N, N)."""
        names = np.array(self.blocks)
        return np.asarray(names[:, None] == names[None, :], dtype=np.bool_)

    def only(self, bags: Collection[str]) -> Case | None:
        """The same of some of the bags; None where no block has two labels left."""
        held: dict[str, set[int]] = {}
        chosen = [at for at, outcome in enumerate(self.outcomes) if outcome.bag.bag in bags]
        for at in chosen:
            held.setdefault(self.blocks[at], set()).add(self.labels[at])
        kept = [at for at in chosen if len(held[self.blocks[at]]) > 1]
        if not kept:
            return None
        return Case(
            outcomes=tuple(self.outcomes[at] for at in kept),
            labels=tuple(self.labels[at] for at in kept),
            doses=self.doses[kept],
            blocks=tuple(self.blocks[at] for at in kept),
            words=self.words,
        )


def find_case(question: Question, outcomes: Sequence[Outcome]) -> tuple[Case | None, str]:
    """Return the bags that carry a question, or None and what coincides with the levels.

    Parameters
    ----------
    question : Question
        What against what.
    outcomes : sequence of Outcome
        The bags of the scope, of all treatments.
    """
    own, coinciding = _untangle(question, outcomes)
    if not own:
        return None, coinciding
    labels = [question.levels.index(outcome.bag.treatment) for outcome in own]
    blocks = choose_blocks([outcome.bag for outcome in own], labels)
    return (None, "heat run") if blocks is None else (_make_case(question, own, blocks), "")


def _untangle(question: Question, outcomes: Sequence[Outcome]) -> tuple[list[Outcome], str]:
    """Return the bags in question of the strains that tell something, and what coincides in the others."""
    kept: list[Outcome] = []
    coinciding = "strain"
    for strain in dict.fromkeys(outcome.bag.strain for outcome in outcomes):
        own = [o for o in outcomes if o.bag.strain == strain and o.bag.treatment in question.levels]
        labels = [question.levels.index(outcome.bag.treatment) for outcome in own]
        if len(set(labels)) < 2:
            continue
        same = find_coinciding([outcome.bag for outcome in own], labels)
        coinciding = same or coinciding
        kept += [] if same else own
    return kept, coinciding


def _make_case(question: Question, own: Sequence[Outcome], blocks: Blocks) -> Case:
    outcomes = tuple(own[at] for at in blocks.kept)
    labels = tuple(question.levels.index(outcome.bag.treatment) for outcome in outcomes)
    by_level = question.kind == "trend"
    doses = [o.bag.supplement_pct if by_level else float(x) for o, x in zip(outcomes, labels, strict=True)]
    return Case(
        outcomes=outcomes, labels=labels, doses=np.array(doses), blocks=blocks.names, words=blocks.words
    )
