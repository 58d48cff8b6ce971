"""Keeps what was measured and what people say, in CSV files that the grower owns.

Takes rows (`columns.py`) and a trial's folder; gives the rows that count, and a
list of problems with file and line. Appends are locked and all or nothing; a
photo's row is the commit mark of its scores and suspects. Flags pass through.
"""

from colscan.ledger.append import append_new, append_photo, append_row, append_waiting
from colscan.ledger.check import check_ledger
from colscan.ledger.files import scan_locked
from colscan.ledger.marks import file_mark
from colscan.ledger.methods import Scans, counting
from colscan.ledger.places import BagEvents, EventBook, events_of
from colscan.ledger.read import Ledger, LedgerReader, read_ledger, read_scans
from colscan.ledger.stored import (
    Seen,
    by_bag,
    numbers_of,
    places_holding,
    rows_at,
    seen_all,
    seen_last,
    times_of,
    words_of,
)
from colscan.ledger.tabled import NO_TIME
from colscan.ledger.waiting import holder_of, lines_to_come, read_waiting, say_waiting

__all__ = [
    "append_new",
    "append_photo",
    "append_row",
    "append_waiting",
    "check_ledger",
    "events_of",
    "counting",
    "scan_locked",
    "read_ledger",
    "read_scans",
    "holder_of",
    "lines_to_come",
    "read_waiting",
    "say_waiting",
    "by_bag",
    "numbers_of",
    "places_holding",
    "rows_at",
    "seen_all",
    "seen_last",
    "times_of",
    "words_of",
    "file_mark",
    "NO_TIME",
    "Seen",
    "BagEvents",
    "EventBook",
    "Ledger",
    "LedgerReader",
    "Scans",
]
