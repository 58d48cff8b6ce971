"""Simulated trials: what they promise of themselves, and how often curves' intervals hold their truth."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from curve_holds import print_table, run_trials, share_held
from simulate import FORMS, SHAPES, Design, Noise, simulate

from colscan.growth import outcomes_of


def test_the_same_seed_gives_the_same_trial() -> None:
    """And another seed another one."""
    one, again, other = (simulate(Design(), seed).ledger.scores for seed in (3, 3, 4))
    assert one == again
    assert one != other


@pytest.mark.parametrize("shape", SHAPES)
def test_truth_is_what_scores_show_without_noise(shape: str) -> None:
    """Half lies between the photos around it; the greatest slope is the rate."""
    noise = Noise(sd=0.0, unmeasured=0.0)
    made = simulate(Design(shape=shape, noise=noise, risks=(0.0, 0.0), missed=0.0, photo_days=40), 8)
    reached = {outcome.bag.bag: outcome.half for outcome in outcomes_of(made.trial, made.ledger)}
    for truth in made.truths:
        span = reached[truth.bag.bag]
        assert span.after_days <= truth.half_days <= span.by_days
        assert truth.half_days < truth.ninety_days < truth.full_days
        assert math.isinf(truth.lost_days)
    assert np.gradient(FORMS[shape].coverage, FORMS[shape].u).max() == pytest.approx(1.0, abs=1e-3)


def test_noise_is_shared_as_said() -> None:
    """Errors at half covered have the stated size and correlate by photo and by bag as stated."""
    design = Design(bags_per_level=30, risks=(0.0, 0.0), bag_rate_sd=0.0, run_rate_sd=0.0, lag_sd_days=0.0)
    design = replace(design, rate_ratios=(1.0, 1.0), missed=0.0, noise=Noise(unmeasured=0.0))
    errors = []
    for seed in range(40):
        made = simulate(design, seed)
        angle = np.arcsin(np.sqrt([row.coverage_pct / 100 for row in made.ledger.scores]))
        days = angle.reshape(25, 60)[8:13]
        errors.append(days)
    cube = np.array(errors) - np.array(errors).mean(axis=(0, 2), keepdims=True)
    variance = (cube**2).mean()
    assert math.sqrt(variance) == pytest.approx(0.09, rel=0.1)
    by_photo = (cube.sum(axis=2) ** 2 - (cube**2).sum(axis=2)).mean() / (60 * 59)
    by_bag = (cube.sum(axis=1) ** 2 - (cube**2).sum(axis=1)).mean() / (5 * 4)
    assert by_photo / variance == pytest.approx(0.15, abs=0.06)
    assert by_bag / variance == pytest.approx(0.40, abs=0.06)


def test_losses_come_at_the_stated_risk_and_by_heat_run() -> None:
    """One in five is lost, and bags of one heat run are lost together more often than others."""
    design = Design(levels=(0.0,), risks=(0.2,), rate_ratios=(1.0,), heat_runs=2, bags_per_level=16)
    design = replace(design, photo_days=20)
    lost = np.array(
        [[math.isfinite(truth.lost_days) for truth in simulate(design, seed).truths] for seed in range(200)]
    )
    assert lost.mean() == pytest.approx(0.2, abs=0.03)
    runs = np.corrcoef(lost[:, 0::2].mean(axis=1), lost[:, 1::2].mean(axis=1))[0, 1]
    assert abs(runs) < 0.2
    assert lost[:, 0::2].mean(axis=1).var() > 1.5 * 0.2 * 0.8 / 8
    outcomes = outcomes_of(*(lambda made: (made.trial, made.ledger))(simulate(design, 5)))
    assert [outcome.lost is not None for outcome in outcomes] == lost[5].tolist()


def test_intervals_of_curves_hold(capsys: pytest.CaptureFixture[str]) -> None:
    """Of 90 % intervals of the half-colonized day about nine in ten hold.

    4,000 trials stand in docs/answers.md; here 96, so the bounds are three binomial errors wider, of the
    half days twice that, since bags of a photo share its error.
    """
    held = run_trials(96, Design())
    bags = sum(h.figure == "half_days" for h in held)
    assert bags == 96 * 16
    assert share_held(held, "half_days") == pytest.approx(0.90, abs=0.02 + 6 * math.sqrt(0.09 / bags))
    print_table(held)
    assert "half_days    all" in capsys.readouterr().out
