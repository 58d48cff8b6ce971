"""Charts of the trial on show, kept in memory until its files change."""

from __future__ import annotations

from collections.abc import Callable
from threading import Lock

from colscan.app.web.site import Standing
from colscan.ledger import Ledger
from colscan.trial.model import Trial

MOST = 64
"""Charts kept at most: some 100 kB each, those of large trials more."""


class Drawings:
    """Charts by name, each drawn once for one state of the trial; only one is drawn at a time."""

    def __init__(self) -> None:
        self._of: tuple[Trial, Ledger, bool] | None = None
        self._known: dict[str, bytes] = {}
        # One at a time: the settings that matplotlib draws with belong to the whole process.
        self._lock = Lock()

    def get(self, here: Standing, name: str, draw: Callable[[], bytes]) -> bytes:
        """Return a chart, drawn now unless it was before and no file has changed since.

        Parameters
        ----------
        here : Standing
            The trial.
        name : str
            What tells the chart from others.
        draw : callable
            Makes its bytes.
        """
        with self._lock:
            self._forget_others(here)
            if name not in self._known:
                drawn = draw()
                while len(self._known) >= MOST:
                    self._known.pop(next(iter(self._known)))
                self._known[name] = drawn
            return self._known[name]

    def _forget_others(self, here: Standing) -> None:
        """Another state of the trial has other charts; so has one that is over, for it was interim before."""
        interim = here.trial.is_interim(here.now)
        of = self._of
        if of is None or of[0] is not here.trial or of[1] is not here.ledger or of[2] != interim:
            self._of = here.trial, here.ledger, interim
            self._known.clear()
