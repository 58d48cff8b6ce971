"""Simulated trials with known truth: growth, score noise and losses, as (Trial, Ledger).

Growth takes shapes that the fitted models don't contain, too: balls around mixed-in grains, a front from
the top, a bag shaken midway, a bag whose one half is slower. Noise is as the scorer's: its size is 0.07 on
the arcsine scale, where it is the same at every coverage, as on the rendered series, and a third more because
the scorer had learnt from those; 15 % of its variance is shared by the bags of a photo, 40 % by the photos
of a bag, the rest its own.
"""

from __future__ import annotations

import argparse
import math
import sys
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from colscan.ledger import Ledger
from colscan.ledger.columns import EventRow, PhotoRow, ScoreRow, SuspectRow, VerdictRow
from colscan.trial.model import Bag, Treatment, Trial

SEED = 20260302
START = datetime(2026, 3, 2, 11, tzinfo=UTC)
SHAPES = ("gompertz", "logistic", "balls", "top", "shaken", "two-speed")
Z90 = NormalDist().inv_cdf(0.95)
FRONT_ROUGHNESS = 0.06
SHAKEN_TO, SHAKEN_FASTER = 0.10, 1.4
SLOW_HALF = 2.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Noise:
    """Size of the score's errors on the arcsine scale (asin of the root of coverage), and how it is shared.

    `claim` times as wide as it should be is the interval that the scorer gives; `claim_scatter` is the
    spread of its logarithm from row to row.
    """

    sd: float = 0.09
    photo_share: float = 0.15
    bag_share: float = 0.40
    claim: float = 1.0
    claim_scatter: float = 0.2
    unmeasured: float = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """What a simulated trial is like.

    Parameters
    ----------
    levels : tuple of float
        Supplement levels, percent; the first is the control's.
    rate_ratios : tuple of float
        True ratio of each level's rate to the first's.
    risks : tuple of float
        Chance of each level's bags to be lost to contamination.
    bags_per_level : int
        Bags of a strain and level.
    strains : tuple of str
        Strains; each one grows 0.85 times as fast as the one before.
    heat_runs : int
        Heat runs; each holds bags of all levels.
    run_correlation : float
        Correlation, within a heat run, of what makes bags be lost (of the latent normal variable).
    run_rate_sd, bag_rate_sd : float
        Spread of log rates between heat runs, and between bags of a run.
    rate_per_day : float
        The control's greatest rate, fraction a day.
    lag_days, lag_sd_days : float
        Days to leap off, and their spread between bags.
    photo_days, gap_days : int
        Days that photos are taken, and from one photo to the next.
    missed : float
        Share of days without a photo.
    shape : str
        One of SHAPES.
    ended : bool
        Whether the trial has ended, so that results are final.
    """

    levels: tuple[float, ...] = (0.0, 10.0)
    rate_ratios: tuple[float, ...] = (1.0, 1.2)
    risks: tuple[float, ...] = (0.05, 0.10)
    bags_per_level: int = 8
    strains: tuple[str, ...] = ("S1",)
    heat_runs: int = 2
    run_correlation: float = 0.3
    run_rate_sd: float = 0.03
    bag_rate_sd: float = 0.12
    rate_per_day: float = 0.11
    lag_days: float = 2.5
    lag_sd_days: float = 0.5
    photo_days: int = 25
    gap_days: int = 1
    missed: float = 0.05
    shape: str = "balls"
    ended: bool = True
    noise: Noise = field(default_factory=Noise)


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What is true of one simulated bag, in days since inoculation.

    Parameters
    ----------
    bag : Bag
        As planned.
    rate_per_day : float
        Greatest rate of its newest segment, fraction a day.
    lag_days : float
        Where the tangent of that rate meets 0 %.
    half_days, ninety_days, full_days : float
        When the newest segment came to 50, 90, 98 %, or would have come without a loss.
    lost_days : float
        When a patch came that lost it; infinite for a sound bag.
    """

    bag: Bag
    rate_per_day: float
    lag_days: float
    half_days: float
    ninety_days: float
    full_days: float
    lost_days: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Simulated:
    """A trial, what was measured of it, and what is true."""

    trial: Trial
    ledger: Ledger
    truths: tuple[Truth, ...]
    design: Design


Values = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Form:
    """Coverage over scaled time; its greatest slope is 1."""

    u: Values
    coverage: Values

    @property
    def lag(self) -> float:
        """Where the steepest tangent meets zero."""
        steepest = int(np.argmax(np.gradient(self.coverage, self.u)))
        return float(self.u[steepest] - self.coverage[steepest])

    def at(self, u: Values) -> Values:
        return np.interp(u, self.u, self.coverage)

    def reach(self, share: float) -> float:
        return float(np.interp(share, self.coverage, self.u))


def _form(shape: str) -> _Form:
    u = np.linspace(-2.0, 12.0, 7001)
    if shape == "gompertz":
        coverage = np.exp(-np.exp(1.0 - math.e * u))
    elif shape == "logistic":
        coverage = 1.0 / (1.0 + np.exp(2.0 - 4.0 * u))
    elif shape == "top":
        ramp = np.clip(u, 0.0, 1.0)
        kernel = np.exp(-0.5 * (np.arange(-150, 151) * 0.002 / FRONT_ROUGHNESS) ** 2)
        coverage = np.convolve(np.pad(ramp, 150, mode="edge"), kernel / kernel.sum(), mode="valid")
    elif shape == "two-speed":
        coverage = 0.5 * _balls(u) + 0.5 * _balls(u / SLOW_HALF)
    else:
        coverage = _balls(u)
    steepest = np.gradient(coverage, u).max()
    return _Form(u=u * steepest, coverage=coverage)


def _balls(u: Values) -> Values:
    return 1.0 - np.exp(-(np.clip(u, 0.0, None) ** 3))


FORMS = {shape: _form(shape) for shape in SHAPES}


def simulate(design: Design, seed: int) -> Simulated:
    """Return one simulated trial; the same seed gives the same trial.

    Parameters
    ----------
    design : Design
        What it is like.
    seed : int
        Of numpy's generator.
    """
    rng = np.random.default_rng(seed)
    bags = _plan(design)
    photos = _photo_days(design, rng)
    rates, lags = _draw_growth(design, bags, rng)
    shaken = _shaking_days(design, rng)
    coverage, segment = _grow(design, photos, (rates, lags), shaken)
    lost = _draw_losses(design, bags, rng)
    coverage = coverage * (1.0 - 0.08 * np.clip(photos - lost[:, None], 0.0, 8.0))
    discarded = lost + 4.0
    rows = _score_rows(design, bags, photos, coverage, segment, discarded, rng)
    truths = _truths(design, bags, (rates, lags), shaken, lost)
    ledger = Ledger(
        photos=tuple(_photo_row(day, len(bags)) for day in photos),
        scores=rows,
        suspects=_suspect_rows(bags, photos, lost, discarded),
        verdicts=tuple(
            _verdict(bag, day) for bag, day in zip(bags, discarded, strict=True) if day < photos[-1]
        ),
        events=_events(bags, shaken, discarded, photos[-1]),
    )
    return Simulated(trial=_trial(design, bags, photos[-1]), ledger=ledger, truths=truths, design=design)


def _plan(design: Design) -> tuple[Bag, ...]:
    bags = []
    for strain in design.strains:
        for level in design.levels:
            for i in range(design.bags_per_level):
                bags.append(
                    Bag(
                        bag=f"B{len(bags) + 1:03d}",
                        tag=len(bags) + 1,
                        strain=strain,
                        supplement="bran" if level else "none",
                        supplement_pct=level,
                        heat_run=f"H{i % design.heat_runs + 1}",
                        spawn_method="top" if design.shape == "top" else "mixed",
                        inoculated_at=START,
                    )
                )
    return tuple(bags)


def _photo_days(design: Design, rng: np.random.Generator) -> Values:
    days = np.arange(0.0, design.photo_days, design.gap_days)
    days = days + 0.15 + rng.uniform(-0.1, 0.1, len(days))
    kept = rng.random(len(days)) >= design.missed
    kept[[0, -1]] = True  # a trial without its first photo is another matter
    return days[kept]


def _factor(bags: tuple[Bag, ...], name: str) -> NDArray[np.int64]:
    values = [getattr(bag, name) for bag in bags]
    return np.unique(values, return_inverse=True)[1]


def _draw_growth(design: Design, bags: tuple[Bag, ...], rng: np.random.Generator) -> tuple[Values, Values]:
    ratios = np.array([design.rate_ratios[design.levels.index(bag.supplement_pct)] for bag in bags])
    strains = np.array([0.85 ** design.strains.index(bag.strain) for bag in bags])
    runs = rng.normal(0.0, design.run_rate_sd, design.heat_runs)[_factor(bags, "heat_run")]
    own = rng.normal(0.0, design.bag_rate_sd, len(bags))
    lags = np.clip(rng.normal(design.lag_days, design.lag_sd_days, len(bags)), 0.5, None)
    return design.rate_per_day * ratios * strains * np.exp(runs + own), lags


def _shaking_days(design: Design, rng: np.random.Generator) -> float:
    """The day on which all bags are shaken, infinite where none is: some 25 to 50 % are covered then."""
    return design.lag_days + rng.uniform(2.5, 4.5) if design.shape == "shaken" else math.inf


def _grow(
    design: Design, days: Values, growth: tuple[Values, Values], shaken: float
) -> tuple[Values, NDArray[np.int64]]:
    """True coverage (bags, photos) and segments (photos)."""
    rates, lags = (part[:, None] for part in growth)
    form = FORMS[design.shape]
    coverage = form.at(rates * (days - lags))
    again = (
        form.at(form.reach(SHAKEN_TO) + SHAKEN_FASTER * rates * (days - shaken)) if shaken < 99 else coverage
    )
    later = days >= shaken
    return np.where(later, again, coverage), later.astype(np.int64)


def _draw_losses(design: Design, bags: tuple[Bag, ...], rng: np.random.Generator) -> Values:
    risks = np.array([design.risks[design.levels.index(bag.supplement_pct)] for bag in bags])
    limits = np.array([NormalDist().inv_cdf(min(max(risk, 1e-12), 1 - 1e-12)) for risk in risks])
    runs = rng.normal(size=design.heat_runs)[_factor(bags, "heat_run")]
    latent = math.sqrt(design.run_correlation) * runs
    latent = latent + math.sqrt(1 - design.run_correlation) * rng.normal(size=len(bags))
    onset = rng.uniform(3.0, 14.0, len(bags))
    return np.where(latent < limits, onset, math.inf)


def _truths(
    design: Design, bags: tuple[Bag, ...], growth: tuple[Values, Values], shaken: float, lost: Values
) -> tuple[Truth, ...]:
    form = FORMS[design.shape]
    whole = math.isinf(shaken)
    truths = []
    for bag, rate, lag, loss in zip(bags, *growth, lost, strict=True):
        speed = rate if whole else SHAKEN_FASTER * rate
        start = lag if whole else shaken - form.reach(SHAKEN_TO) / speed
        half, ninety, full = (float(start + form.reach(share) / speed) for share in (0.5, 0.9, 0.98))
        truths.append(
            Truth(bag=bag, rate_per_day=float(speed), lag_days=float(start + form.lag / speed),
                  half_days=half, ninety_days=ninety, full_days=full, lost_days=float(loss))
        )  # fmt: skip
    return tuple(truths)


def _score_rows(
    design: Design,
    bags: tuple[Bag, ...],
    days: Values,
    coverage: Values,
    segment: NDArray[np.int64],
    until: Values,
    rng: np.random.Generator,
) -> tuple[ScoreRow, ...]:
    pct, low, high = _measure(design.noise, coverage, rng)
    missing = rng.random(coverage.shape) < design.noise.unmeasured
    rows = []
    for j, day in enumerate(days):
        photo, at = _name(day), _at(day)
        for i, bag in enumerate(bags):
            if day > until[i]:
                continue
            seen = not missing[i, j]
            rows.append(
                ScoreRow(
                    photo=photo[0], photo_sha256=photo[1], taken_at=at, bag=bag.bag, segment=int(segment[j]),
                    coverage_pct=pct[i][j] if seen else None,
                    coverage_low_pct=low[i][j] if seen else None,
                    coverage_high_pct=high[i][j] if seen else None,
                    density_pct=0.8 * pct[i][j] if seen else None,
                    identified_by="card", method="simulated", scanned_at=at,
                )
            )  # fmt: skip
    return tuple(rows)


def _measure(
    noise: Noise, coverage: Values, rng: np.random.Generator
) -> tuple[list[list[float]], list[list[float]], list[list[float]]]:
    """Scores and their 90 % intervals, percent: errors on the arcsine scale are the same at each coverage."""
    n_bags, n_days = coverage.shape
    own_share = 1.0 - noise.photo_share - noise.bag_share
    unit = (
        math.sqrt(noise.photo_share) * rng.normal(size=(1, n_days))
        + math.sqrt(noise.bag_share) * rng.normal(size=(n_bags, 1))
        + math.sqrt(own_share) * rng.normal(size=coverage.shape)
    )
    # A row whose interval is wide errs more; the scatter has mean square 1, so the size stays.
    scatter = np.exp(noise.claim_scatter * rng.normal(size=coverage.shape) - noise.claim_scatter**2)
    angle = np.arcsin(np.sqrt(coverage))
    got = np.clip(angle + noise.sd * scatter * unit, 0.0, math.pi / 2)
    half = Z90 * noise.sd * noise.claim * scatter
    parts = (got, np.clip(got - half, 0.0, None), np.clip(got + half, None, math.pi / 2))
    pct, low, high = (np.round(100.0 * np.sin(part) ** 2, 2).tolist() for part in parts)
    return pct, low, high


def _at(day: float) -> datetime:
    return START + timedelta(days=float(day))


def _name(day: float) -> tuple[str, str]:
    return f"d{day:.3f}.jpg", f"{round(day * 100000):064x}"


def _photo_row(day: float, n_bags: int) -> PhotoRow:
    name, sha = _name(day)
    return PhotoRow(
        photo=name, photo_sha256=sha, taken_at=_at(day), taken_at_from="exif-offset", width_px=4000,
        height_px=3000, bags_found=n_bags, method="simulated", scanned_at=_at(day),
    )  # fmt: skip


def _suspect_rows(bags: tuple[Bag, ...], days: Values, lost: Values, until: Values) -> tuple[SuspectRow, ...]:
    rows = []
    for day in days:
        name, sha = _name(day)
        for bag, onset, end in zip(bags, lost, until, strict=True):
            if onset <= day <= end:
                first = days[days >= onset][0]
                rows.append(
                    SuspectRow(
                        photo=name, photo_sha256=sha, taken_at=_at(day), bag=bag.bag, patch="p1",
                        kind="green", area_mm2=400.0, area_pct=1.0, x_px=0.0, y_px=0.0, x_mm=0.0, y_mm=0.0,
                        strength=0.9, first_seen_at=_at(first), method="simulated",
                    )
                )  # fmt: skip
    return tuple(rows)


def _verdict(bag: Bag, day: float) -> VerdictRow:
    return VerdictRow(at=_at(day), bag=bag.bag, call="contaminated", action="discarded")


def _events(bags: tuple[Bag, ...], shaken: float, discarded: Values, last: float) -> tuple[EventRow, ...]:
    events = [
        EventRow(at=_at(day), scope="bag", name=bag.bag, what="discarded")
        for bag, day in zip(bags, discarded, strict=True)
        if day < last
    ]
    if math.isfinite(shaken):
        events += [EventRow(at=_at(shaken), scope="bag", name=bag.bag, what="shaken") for bag in bags]
    return tuple(sorted(events, key=lambda event: event.at))


def _trial(design: Design, bags: tuple[Bag, ...], last: float) -> Trial:
    ended = _at(last) if design.ended else None
    treatments = tuple(
        Treatment(supplement="bran" if level else "none", supplement_pct=level) for level in design.levels
    )
    return Trial(
        name="simulated", time_zone="UTC", planned_end=_at(design.photo_days), ended_at=ended,
        treatments=treatments, bags=bags,
    )  # fmt: skip


def main() -> None:
    """Print how often the 90 % intervals of bags' curves hold the truth."""
    from curve_holds import print_table, run_trials

    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("--trials", type=int, default=4000)
    parser.add_argument("--shape", choices=SHAPES, action="append", help="only this shape; may be repeated")
    parser.add_argument(
        "--claim", type=float, default=1.0, help="intervals so many times as wide as is right"
    )
    parser.add_argument("--gap", type=int, default=1, help="days between photos")
    given = parser.parse_args()
    design = Design(gap_days=given.gap, noise=Noise(claim=given.claim))
    print_table(run_trials(given.trials, design, tuple(given.shape or SHAPES)))


if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parent))
    main()
