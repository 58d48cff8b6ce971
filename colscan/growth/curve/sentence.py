"""A bag's curve in a sentence or two."""

from __future__ import annotations

from colscan.growth.curve.model import BagFit, Estimate, Measure

HALF = {Measure.COVERAGE: "half colonized", Measure.DENSITY: "half as white as in the end"}


def describe_fit(fit: BagFit) -> str:
    """Return what is known of a bag's growth, in words; days since spawning, and since shaking where it was.

    E.g. ``half colonized on day 7.2 (6.9-7.5), 90 % on day 10.4 (10.0-11.0); leapt off on day 3.1 (2.6-3.6),
    greatest rate 11 points a day (10-12; Gompertz model)``.
    """
    told = [
        text
        for text in (
            _on_day(HALF[fit.measure], fit.half_days, fit),
            _on_day("90 %", fit.ninety_days, fit),
            _on_day("leapt off", fit.lag_days, fit),
            _rate(fit),
            fit.why_not,
        )
        if text
    ]
    said = "; ".join(told)
    left_out = ", ".join(
        f"{photo.photo} (day {photo.days:.1f}: {100 * photo.value:.0f} %, the others say"
        f" {100 * photo.expected:.0f} %)"
        for photo in fit.outliers
    )
    return f"{said}. Left out: {left_out}" if left_out else said


def _on_day(what: str, day: Estimate | None, fit: BagFit) -> str:
    if day is None:
        return ""
    text = f"{what} on day {day.value:.1f} ({day.low:.1f} to {day.high:.1f})"
    return (
        text if not fit.segment else f"{text}, {day.value - fit.began_days:.1f} days since it was disturbed"
    )


def _rate(fit: BagFit) -> str:
    rate = fit.rate_per_day
    if rate is None:
        return ""
    ends = f"{100 * rate.low:.0f} to {100 * rate.high:.0f}"
    return f"greatest rate {100 * rate.value:.0f} points a day ({ends}; {fit.shape} model)"
