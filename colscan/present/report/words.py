"""How a report writes times and shares."""

from __future__ import annotations

from colscan.growth.outcomes import Outcome, Span


def say_span(span: Span) -> str:
    """Return when something came, as ``5.1 to 6.1``, or that it hadn't, as ``not by 14.2``."""
    if not span.came:
        return f"not by {span.after_days:.1f}"
    return f"{span.after_days:.1f} to {span.by_days:.1f}"


def say_end(outcome: Outcome) -> str:
    """Return what became of a bag, in a word or two with its day."""
    if outcome.lost is not None:
        return f"lost, day {say_span(outcome.lost)}"
    if outcome.full.came:
        return f"full, day {say_span(outcome.full)}"
    return outcome.left or f"neither full nor lost by day {outcome.followed_days:.1f}"
