"""The trial that is shown, kept in memory: read again only where a file has changed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property
from pathlib import Path
from threading import Lock

from colscan import units
from colscan.app.calls import known_bag
from colscan.app.web.looks import Looks, find_looks
from colscan.growth import judge_bags
from colscan.growth.model import BagRecord, BagStatus
from colscan.growth.records import records_of
from colscan.hints import as_typed
from colscan.ledger import Ledger, LedgerReader, file_mark
from colscan.ledger.columns import VerdictRow
from colscan.trial import load_trial
from colscan.trial.model import PLAN_FILE, Bag, Trial

JUDGED_FOR = timedelta(minutes=1)
"""How long a judgement is shown again while no file changes: it depends on the time, but by days."""


@dataclass(frozen=True, kw_only=True)
class Standing:
    """A trial as it stands: another reviewer, or a scan, may have added to it by the next request.

    Parameters
    ----------
    folder : Path
        The trial's folder.
    trial : Trial
        The plan.
    ledger : Ledger
        The rows that count.
    now : datetime
        When it was judged, aware.
    shown : bool
        Whether somebody asked for the treatments of a trial that is judged blind, since the start.
    """

    folder: Path
    trial: Trial
    ledger: Ledger
    now: datetime
    shown: bool = False

    @property
    def blind(self) -> bool:
        """Whether strain and treatment are kept from who judges."""
        return self.trial.judging == "blind" and not self.shown

    @property
    def needs_map(self) -> bool:
        """Whether bags are told by their place, as they have no card."""
        return any(bag.tag is None for bag in self.trial.bags)

    @property
    def typed(self) -> str:
        """The trial's folder in a command, typed in the folder that holds it."""
        return as_typed(self.folder.name or ".")

    @cached_property
    def records(self) -> dict[str, BagRecord]:
        """What stands about each bag, by its code, in the plan's order."""
        return {record.bag.bag: record for record in records_of(self.trial, self.ledger)}

    @cached_property
    def statuses(self) -> dict[str, BagStatus]:
        """Each bag today, by its code, in the plan's order."""
        return {status.bag: status for status in judge_bags(self.trial, self.ledger, self.now)}

    @cached_property
    def looks(self) -> Looks:
        """What needs eyes."""
        return find_looks(self.records, self.statuses)

    def record(self, bag: str) -> BagRecord:
        """Return what stands about a bag.

        Raises
        ------
        TrialError
            When the trial has no such bag; names the nearest code.
        """
        return self.records[known_bag(self.trial, bag).bag]

    def call_on(self, bag: str, patch: str | None) -> VerdictRow | None:
        """Return the call that stands on a patch, or on a whole bag; None also for a bag that isn't there."""
        record = self.records.get(bag)
        calls = record.standing_calls if record else ()
        return next((call for call in calls if call.patch == patch), None)


class Site:
    """What all pages of one trial share.

    Parameters
    ----------
    folder : Path
        The trial's folder.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._reader = LedgerReader(folder)
        self._plan: tuple[tuple[object, ...], Trial] | None = None
        self._standing: Standing | None = None
        self._shown = False
        self._lock = Lock()

    def open(self) -> Standing:
        """Return the trial as it stands at this moment.

        Raises
        ------
        TrialError
            When the plan is wrong.
        LedgerError
            When a file of the ledger is.
        """
        with self._lock:
            trial, ledger, now = self._load_plan(), self._reader.read(), units.now()
            known = self._standing
            if (
                known is None
                or known.trial is not trial
                or known.ledger is not ledger
                or not timedelta(0) <= now - known.now < JUDGED_FOR
            ):
                known = Standing(folder=self.folder, trial=trial, ledger=ledger, now=now, shown=self._shown)
                self._standing = known
            return known

    def show_treatments(self) -> None:
        """Show strains and treatments from now on, to everybody: who has seen one can't unsee it."""
        with self._lock:
            self._shown, self._standing = True, None

    def _load_plan(self) -> Trial:
        marks = tuple(file_mark(self.folder / name) for name in (PLAN_FILE, Bag.FILE))
        if self._plan is None or self._plan[0] != marks:
            self._plan = marks, load_trial(self.folder)
        return self._plan[1]
