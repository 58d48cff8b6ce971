"""What a comparison of treatments says: times, bags by day, effects with intervals, tests."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from colscan.growth.curve import Estimate
from colscan.growth.outcomes import Milestone, Span

ALL_STRAINS = "all strains"
"""The scope of a comparison over strains: each strain against itself, the differences taken together."""
SEED = 20_260_302
"""Of every draw of exchanged labels: a second run says the same."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One rise of a share over time: it happened after the one and at the latest at the other age.

    `share` is the share of bags that had come by `by_days`, fraction.
    """

    after_days: float
    by_days: float
    share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TimesAtLevel:
    """When the bags of one treatment came to a milestone, all bags spawned counted.

    Parameters
    ----------
    scope : str
        The strain's code, or `ALL_STRAINS`.
    treatment : str
        As bags name it.
    supplement_pct : float
        Its level, percent.
    milestone : Milestone
        Half, 90 % or full.
    bags, heat_runs : int
        How many; no heat run where none is named.
    came, lost, running, left : int
        Bags that came to it; were lost to contamination before; are not there yet; left the trial before.
    median : Span
        When half of all bags spawned had come, lost ones never coming; open while they haven't.
    earliest_days, latest_days : float
        Ends of the 90 % interval of that median; infinite where nothing bounds it.
    steps : tuple of Step
        The share of all bags spawned that had come, over time.
    median_degree_days : Span or None
        The median in degree-days (C d above 0 C) of the air around each bag; None without a log of it.
    """

    scope: str
    treatment: str
    supplement_pct: float
    milestone: Milestone
    bags: int
    heat_runs: int
    came: int
    lost: int
    running: int
    left: int
    median: Span
    earliest_days: float
    latest_days: float
    steps: tuple[Step, ...]
    median_degree_days: Span | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class DayCount:
    """What had become of all bags spawned of one treatment by a day; the four counts add up to `bags`.

    A bag that was lost after it was full counts as lost. `gone` are bags that left the trial, or whose last
    photo is older.
    """

    scope: str
    treatment: str
    day: float
    bags: int
    full: int
    lost: int
    running: int
    gone: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PermutationTest:
    """A test by exchanging labels.

    Parameters
    ----------
    p : float
        Two-sided, in (0, 1].
    p_holm : float
        The same adjusted (Holm 1979) for the comparisons of this scope.
    comparisons : int
        How many those are.
    labellings : int
        Ways to deal the labels that were tried, the true one among them.
    exact : bool
        Whether these are all there are; otherwise they are drawn with `SEED`.
    """

    p: float
    p_holm: float
    comparisons: int
    labellings: int
    exact: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Contrast:
    """One comparison: a treatment against the control, or the trend over a supplement's levels.

    Parameters
    ----------
    kind : str
        `level` or `trend`.
    scope, milestone
        As in `TimesAtLevel`; bags lost before count until their onset.
    treatment : str
        The treatment; the supplement's name for a trend.
    control : str
        The treatment that it is held against, the lowest level for a trend.
    bags, heat_runs : int
        That carry the comparison.
    exchanged_within : str
        Bags whose labels are exchanged share this, in words: `strain and heat run`.
    days_sooner : Estimate or None
        Days by which the treatment is sooner than the control; of a trend, per 1 % of supplement.
    degree_days_sooner : Estimate or None
        The same in degree-days (C d above 0 C) of the air around each bag; None without a log of it.
    rate_ratio : Estimate or None
        Greatest rate of growth over the control's; of a trend, the factor per 1 % of supplement.
    rate_bags : int
        Bags whose rate is known.
    test : PermutationTest or None
        Of the times.
    why_no_test : str
        A sentence where there is none: interim, can't be told apart, too few bags.
    coinciding : str or None
        What nothing tells apart from the level: `heat run`, `tier`, `spawn lot`, `strain`; there is no effect
        then.
    """

    kind: Literal["level", "trend"]
    scope: str
    milestone: Milestone
    treatment: str
    control: str
    bags: int
    heat_runs: int
    exchanged_within: str
    days_sooner: Estimate | None
    degree_days_sooner: Estimate | None
    rate_ratio: Estimate | None
    rate_bags: int
    test: PermutationTest | None
    why_no_test: str
    coinciding: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """All that a trial says of its treatments.

    Parameters
    ----------
    trial : str
        Its name.
    interim : bool
        Before the planned end: no test.
    control : str
        The treatment the others are held against.
    milestone : Milestone
        The one that is compared.
    bags, heat_runs : int
        In all, blanks left out.
    times : tuple of TimesAtLevel
        By scope, milestone and level.
    days : tuple of DayCount
        By scope, treatment and day, over all days with photos.
    contrasts : tuple of Contrast
        Of this milestone, by scope and treatment, trends last.
    not_told_apart : tuple of str
        What the plan can't tell apart, a sentence each.
    sentences : tuple of str
        The answer in words, the most important first.
    method : str
        How it was worked out, in a sentence or two that can be cited.
    unreviewed : int
        Bags with a suspect patch that nobody has called harmless or contaminated; here they count as sound.
    """

    trial: str
    interim: bool
    control: str
    milestone: Milestone
    bags: int
    heat_runs: int
    times: tuple[TimesAtLevel, ...]
    days: tuple[DayCount, ...]
    contrasts: tuple[Contrast, ...]
    not_told_apart: tuple[str, ...]
    sentences: tuple[str, ...]
    method: str
    unreviewed: int = 0
