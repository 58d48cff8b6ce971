"""Photos that came from phones: a queue, a worker that scans what waits together, what became of each."""

from __future__ import annotations

import logging
import queue
import secrets
import tempfile
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from threading import Lock, Thread
from typing import BinaryIO

from colscan import units
from colscan.app.batch.outcomes import AlreadyKnown, Outcome, Recorded
from colscan.app.batch.place import Said, place_photo
from colscan.app.batch.scan import ScanOptions, scan_photos
from colscan.app.told import tell_first, tell_known, tell_recorded
from colscan.app.web.arrivals import Arrival, clean_name, free_name, receive, said_time
from colscan.app.web.cards_seen import CardsSeen, see_cards
from colscan.app.web.site import Site
from colscan.errors import ColscanError, LedgerError, PhotoError, UndatedError
from colscan.ledger import say_waiting
from colscan.ledger.columns import ScoreRow, SuspectRow
from colscan.trial.model import Trial

MOST_REMEMBERED = 200
MOST_WAITING = 40
"""Photos of the largest size that may lie in the folder for temporary files at once."""
MOST_TOGETHER = 20
"""More in one scan would make the first wait long for its scores."""
QUIET_SECONDS = 2.0
"""How long after a photo another may come that belongs to it."""
MORE_SECONDS = 20.0
"""The same, when the phone said that it has more to send."""
CLOSING_SECONDS = 60.0
WAITS = "Measured as soon as another scan of this trial has ended."
_log = logging.getLogger(__name__)


class State(StrEnum):
    """Where a photo is on its way."""

    WAITING = "waiting"
    MEASURING = "measuring"
    RECORDED = "recorded"
    KNOWN = "known"
    UNDATED = "undated"
    REFUSED = "refused"
    FAILED = "failed"


UNDERWAY = (State.WAITING, State.MEASURING)


@dataclass(frozen=True, slots=True, kw_only=True)
class Upload:
    """A photo from a phone, and what became of it.

    Parameters
    ----------
    sha256 : str
        Its bytes' hash, by which it is asked for.
    name : str
        What it is recorded as.
    came_at : datetime
        When, aware.
    state : State
        Where it is.
    path : Path
        Its file among the temporary ones; gone once it is scanned.
    taken_at : datetime or None
        When it was taken, if a person said so.
    more : bool
        Whether the phone has more to send at once.
    cards : CardsSeen or None
        What a first look found.
    lines : tuple of str
        What there is to know, as `colscan scan` says it.
    scores, suspects : tuple of rows
        What was recorded.
    """

    sha256: str
    name: str
    came_at: datetime
    state: State
    path: Path
    taken_at: datetime | None = None
    more: bool = False
    cards: CardsSeen | None = None
    lines: tuple[str, ...] = ()
    scores: tuple[ScoreRow, ...] = ()
    suspects: tuple[SuspectRow, ...] = ()


class Busy(Exception):
    """So many photos wait that no more are taken in for now."""


class _Closing(Exception):
    """The server ends while another scan is waited for."""


class Uploads:
    """The photos that came since the start; its one worker is the only scanner of this process.

    Parameters
    ----------
    site : Site
        The trial.
    """

    def __init__(self, site: Site) -> None:
        self._site = site
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        self._known: dict[str, Upload] = {}
        self._lock = Lock()
        self._checking = Lock()  # a PNG's time may stand behind its pixels: one at a time is decoded
        self._queue: queue.Queue[str | None] = queue.Queue()
        self._closing = False
        self._worker = Thread(target=self._work, name="scan", daemon=True)

    def close(self) -> None:
        """Scan the photo that is being measured to its end, no other, and remove the temporary files."""
        self._closing = True
        self._queue.put(None)
        if self._folder is not None:
            self._worker.join(CLOSING_SECONDS)
            self._folder.cleanup()

    def find(self, sha256: str) -> Upload | None:
        """Return a photo that came since the start and is still remembered."""
        with self._lock:
            return self._known.get(sha256)

    def latest(self, number: int) -> tuple[Upload, ...]:
        """Return the photos that came last, the newest first."""
        with self._lock:
            return tuple(self._known.values())[: -number - 1 : -1]

    def add(self, stream: BinaryIO, *, name: str, taken_at: str | None, more: bool) -> Upload:
        """Return a photo taken in to be scanned, or what became of it when it came before.

        Parameters
        ----------
        stream : binary file
            Its bytes.
        name : str
            What the phone calls it.
        taken_at : str or None
            When a person says it was taken.
        more : bool
            Whether the phone has more to send at once.

        Raises
        ------
        PhotoError
            When it is no photo, too large, too small, or without a time (`UndatedError`).
        TrialError
            When the time said is none, or the plan is wrong.
        LedgerError
            When the ledger can't be read, or the photo can't be written to the temporary files.
        Busy
            When too many wait.
        """
        here = self._site.open()
        said = said_time(taken_at, here.trial)
        try:
            arrival = receive(stream, self._free_path)
        except OSError as error:
            msg = f"The photo can't be kept for scanning ({error.strerror})."
            raise LedgerError(msg, "Make room for temporary files on this machine.") from error
        try:
            upload = self._check(arrival, here.trial, clean_name(name), said, more=more)
            if any(row.photo_sha256 == arrival.sha256 for row in here.ledger.photos):
                upload = replace(upload, state=State.KNOWN, lines=("scanned before, passed over",))
            return self._enter(upload)
        except BaseException:
            arrival.path.unlink(missing_ok=True)
            raise

    def _free_path(self, suffix: str) -> Path:
        with self._lock:
            if self._folder is None:  # the first photo
                self._folder = tempfile.TemporaryDirectory(
                    prefix="colscan-photos-", ignore_cleanup_errors=True
                )
                self._worker.start()
        return Path(self._folder.name) / (secrets.token_hex(16) + suffix)

    def _check(
        self, arrival: Arrival, trial: Trial, name: str, said: datetime | None, *, more: bool
    ) -> Upload:
        with self._checking:
            place_photo(arrival.path, trial, Said(name=name, taken_at=said))
        return Upload(
            sha256=arrival.sha256,
            name=name,
            came_at=units.now(),
            state=State.WAITING,
            path=arrival.path,
            taken_at=said,
            more=more,
        )

    def _enter(self, upload: Upload) -> Upload:
        with self._lock:
            before = self._known.get(upload.sha256)
            if before is not None and (before.state in (*UNDERWAY, State.RECORDED)):
                upload.path.unlink(missing_ok=True)
                return before
            if sum(one.state in UNDERWAY for one in self._known.values()) >= MOST_WAITING:
                raise Busy
            self._known.pop(upload.sha256, None)
            self._known[upload.sha256] = upload
            for sha256 in [one.sha256 for one in self._known.values() if one.state not in UNDERWAY][
                : max(0, len(self._known) - MOST_REMEMBERED)
            ]:
                del self._known[sha256]
        if upload.state is State.KNOWN:
            upload.path.unlink(missing_ok=True)
        else:
            self._queue.put(upload.sha256)
        return upload

    def _work(self) -> None:
        while not self._closing:
            batch = self._gather()
            if batch and not self._closing:
                self._scan(batch)

    def _gather(self) -> list[Upload]:
        """What waits, once no more comes; each is looked at while the next is on its way."""
        batch: list[Upload] = []
        wait_s: float | None = None
        while len(batch) < MOST_TOGETHER and not self._closing:
            try:
                sha256 = self._queue.get(timeout=wait_s)
            except queue.Empty:
                break
            if sha256 is not None:
                batch.append(self._look(self._known[sha256]))
                wait_s = MORE_SECONDS if batch[-1].more else QUIET_SECONDS
        return batch

    def _look(self, upload: Upload) -> Upload:
        try:
            cards = see_cards(upload.path, self._site.open().trial)
        except ColscanError:
            cards = None  # the scan says it
        except Exception:
            _log.exception("a first look at %s", upload.sha256)
            cards = None
        return self._put(upload, cards=cards)

    def _scan(self, batch: Sequence[Upload]) -> None:
        left: dict[str, Upload] = {}
        for upload in batch:
            name = free_name(upload.name, set(left))
            left[name] = self._put(upload, state=State.MEASURING, name=name)
        said = {one.path: Said(name=name, taken_at=one.taken_at) for name, one in left.items()}
        options = ScanOptions(said=said, waiting=lambda: self._say_waiting(left.values()))
        try:
            trial = self._site.open().trial
            for outcome in scan_photos(self._site.folder, trial, tuple(said), options):
                name = outcome.photo.photo if isinstance(outcome, Recorded) else outcome.name
                self._settle(left.pop(name), outcome, trial)
                if self._closing:
                    return
        except _Closing:
            return
        except (ColscanError, OSError) as error:
            self._fail(left.values(), *str(error).splitlines())
        except Exception as error:
            _log.exception("scanning photos from a phone")
            self._fail(left.values(), f"A fault in colscan itself ({type(error).__name__}: {error}).")

    def _say_waiting(self, uploads: Iterable[Upload]) -> None:
        if self._closing:
            raise _Closing
        for upload in uploads:
            self._put(upload, lines=(WAITS,))

    def _settle(self, upload: Upload, outcome: Outcome, trial: Trial) -> None:
        upload.path.unlink(missing_ok=True)  # first: who is told that it is settled may send it again
        if isinstance(outcome, Recorded):
            waits = filter(None, [say_waiting(self._site.folder)])
            lines = (*tell_recorded(outcome, trial.zone), *tell_first([outcome]), *waits)
            self._put(
                upload,
                state=State.RECORDED,
                lines=lines,
                scores=outcome.scores,
                suspects=outcome.suspects,
            )
        elif isinstance(outcome, AlreadyKnown):
            self._put(upload, state=State.KNOWN, lines=tuple(tell_known(outcome, taken_at=False)))
        else:
            self._put(upload, state=state_of(outcome.error), lines=_lines(outcome.error, upload))

    def _fail(self, uploads: Iterable[Upload], *lines: str) -> None:
        for upload in uploads:
            with suppress(OSError):
                upload.path.unlink(missing_ok=True)
            self._put(upload, state=State.FAILED, lines=lines)

    def _put(self, upload: Upload, **news: object) -> Upload:
        changed = replace(upload, **news)  # type: ignore[arg-type]
        with self._lock:
            self._known[upload.sha256] = changed
        return changed


def state_of(error: ColscanError) -> State:
    """Return whether a photo can never be used, can when its time is said, or may be sent again as it is."""
    if isinstance(error, UndatedError):
        return State.UNDATED
    return State.REFUSED if isinstance(error, PhotoError) else State.FAILED


def _lines(error: ColscanError, upload: Upload) -> tuple[str, ...]:
    """The error's lines, without the names of files that stand above them on the page."""
    what = error.message.removeprefix(f"{upload.name}: ").removeprefix(f"{upload.path.name}: ")
    return what, error.hint
