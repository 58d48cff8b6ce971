"""Answers that the data may not carry."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from colscan.errors import AnalysisError

T = TypeVar("T")


def answer_or_why(ask: Callable[[], T]) -> T | str:
    """Return what a function answers, or in a sentence why the data don't carry the answer.

    Parameters
    ----------
    ask : callable
        Raises `AnalysisError` when they don't.
    """
    try:
        return ask()
    except AnalysisError as error:
        return f"{error.message[:1].upper()}{error.message[1:].rstrip('.')}."
