"""What is said of the risk to lose bags: by level, in all, and where the losses come from."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """A level of a supplement, the same over strains and trials.

    Parameters
    ----------
    supplement : str
        Its name; `none` for the control.
    pct : float
        Percent, on the base; 0 for the control.
    base : str
        What it is a percentage of; empty for the control.
    """

    supplement: str
    pct: float
    base: str = ""

    @property
    def name(self) -> str:
        """As shown on screens, e.g. ``bran 4 %``."""
        return "no supplement" if self.supplement == "none" else f"{self.supplement} {self.pct:g} %"


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelRisk:
    """What became of the bags of one level, and what that shows. Shares are fractions 0-1.

    Parameters
    ----------
    level : Level
        The level.
    spawned : int
        All its bags; `lost` + `clean` + `running` + `gone`.
    lost : int
        Lost to contamination, or may have been, before the horizon.
    clean : int
        Followed to the horizon without a loss.
    running : int
        Neither lost nor at the horizon yet: enter no limit.
    gone : int
        Left the trial for another reason before the horizon: enter no limit.
    not_looked_round : int
        Of the clean ones: nobody has looked at their other sides since they were full, as far as is recorded.
    suspects : int
        Further losses if every suspect patch that nobody has called harmless were one.
    runs : int
        Heat runs (or what stands for them) of the followed bags.
    effective : float
        Independent bags that the followed ones are worth.
    limit_if_independent : float or None
        Upper one-sided 95 % limit if bags shared nothing; None without a followed bag.
    limit : float or None
        The one that counts: with what bags of a heat run share.
    limit_at_worst : float or None
        The same with the suspects lost, too.
    low, high : float or None
        90 % interval of the share lost; `high` is `limit`.
    pooled : float or None
        Share lost if it can only rise with the level: neighbours out of order are pooled.
    acceptable : bool
        Whether the limit that counts is within the accepted risk.
    more : int or None
        Further bags without a loss that would bring the limit within the accepted risk; None when it is, or
        when the share lost so far is over it.
    more_runs : int or None
        In how many further heat runs as large as those so far: in fewer, it takes more bags or can't be.
    """

    level: Level
    spawned: int
    lost: int
    clean: int
    running: int
    gone: int
    not_looked_round: int
    suspects: int
    runs: int
    effective: float
    limit_if_independent: float | None
    limit: float | None
    limit_at_worst: float | None
    low: float | None
    high: float | None
    pooled: float | None
    acceptable: bool
    more: int | None
    more_runs: int | None

    @property
    def followed(self) -> int:
        """Bags that enter the limits: lost, or followed to the horizon."""
        return self.lost + self.clean

    @property
    def share(self) -> float | None:
        """Share lost of the followed bags."""
        return self.lost / self.followed if self.followed else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """Whether losses rise with the level.

    Parameters
    ----------
    z : float or None
        Of Cochran and Armitage within strain and heat run, positive for rising; None where nothing can be
        compared.
    p : float or None
        Two-sided, by exchanging within strain and heat run; None with a reason.
    exchanged : str
        What was exchanged between levels: ``batches`` (a level's bags in a heat run, together) or ``bags``.
    seed : int or None
        Of the exchanges that were drawn; None where every one was tried.
    why_not : str
        Why there is no p-value; empty with one.
    """

    z: float | None = None
    p: float | None = None
    exchanged: str = ""
    seed: int | None = None
    why_not: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Dose:
    """The level at which the accepted risk is reached, from a penalised logistic curve.

    Parameters
    ----------
    pct : float or None
        The level, on the base; None with a reason. It may lie outside the levels tried.
    low_pct, high_pct : float or None
        90 % interval; None where it is open to that side.
    slope : float or None
        Of the log odds, per 1 % supplement.
    why_not : str
        Why there is no dose; empty with one.
    """

    pct: float | None = None
    low_pct: float | None = None
    high_pct: float | None = None
    slope: float | None = None
    why_not: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesRisk:
    """The levels of one supplement, of one strain or over strains.

    Parameters
    ----------
    strain : str or None
        None for all strains together.
    supplement, base : str
        Of its levels; the control belongs to every supplement.
    levels : tuple of LevelRisk
        Rising.
    highest : Level or None
        The highest level still acceptable; None when not even the first is.
    trend : Trend
        Over the levels.
    dose : Dose
        At the accepted risk.
    sentences : tuple of str
        What it comes to, in plain words.
    """

    strain: str | None
    supplement: str
    base: str
    levels: tuple[LevelRisk, ...]
    highest: Level | None
    trend: Trend
    dose: Dose
    sentences: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LossSource:
    """Bags that share something, and how many of them were lost.

    Parameters
    ----------
    kind : str
        `heat run`, `mix`, `spawn lot`, `shelf`, `tier`, or `side of the bag`.
    name : str
        Which one; of a trial's when there are several.
    followed, lost : int
        Its bags; of a side of the bag, all that were lost stand in `followed`.
    expected : float or None
        Losses if only strain and level made a difference; None for a side of the bag.
    """

    kind: str
    name: str
    followed: int
    lost: int
    expected: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class RiskReport:
    """The risk to lose bags, over one trial or several.

    Parameters
    ----------
    trials : tuple of str
        Their names.
    accepted : float
        Accepted share of bags lost, fraction.
    horizon : str
        What bags are followed to, in words.
    interim : bool
        Whether a trial goes on: no p-values, and shares that are too high while clean bags are on their way.
    correlation : float
        Between bags of a heat run, as used: the estimate, at least the floor.
    clusters : str
        What bags share: `heat run`, `mix`, or `spawning day` where neither is recorded.
    series : tuple of SeriesRisk
        One per strain and supplement, then over strains.
    sources : tuple of LossSource
        Where losses come from; empty without a loss.
    notes : tuple of str
        What must be known to read it.
    """

    trials: tuple[str, ...]
    accepted: float
    horizon: str
    interim: bool
    correlation: float
    clusters: str
    series: tuple[SeriesRisk, ...]
    sources: tuple[LossSource, ...]
    notes: tuple[str, ...]

    @property
    def overall(self) -> tuple[SeriesRisk, ...]:
        """The series over all strains, or of the only one."""
        return tuple(one for one in self.series if one.strain is None) or self.series
