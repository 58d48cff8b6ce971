"""Keeps what was measured and what people say, in CSV files that the grower owns.

Takes rows (`columns.py`) and a trial's folder; gives the rows that count, and a
list of problems with file and line. Appends are locked and all or nothing; a
photo's row is the commit mark of its scores and suspects. Flags pass through.
"""

from colscan.ledger.append import append_photo, append_row
from colscan.ledger.check import check_ledger
from colscan.ledger.marks import file_mark
from colscan.ledger.places import BagEvents, EventBook, events_of
from colscan.ledger.read import Ledger, LedgerReader, read_ledger
from colscan.ledger.stored import Seen, by_bag, numbers_of, seen_all, seen_last, times_of, words_of
from colscan.ledger.tabled import NO_TIME

__all__ = [
    "append_photo",
    "append_row",
    "check_ledger",
    "events_of",
    "read_ledger",
    "by_bag",
    "numbers_of",
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
]
