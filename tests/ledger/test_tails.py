"""A torn end is told from what an editor or a hand leaves."""

import pytest

from colscan.errors import LedgerError
from colscan.ledger.columns import HarvestRow
from colscan.ledger.tails import raw_records, whole_length

HEAD = b"at,bag,flush,fresh_g,saleable_g,note\n"
ROW = b"2026-03-30T08:00:00-05:00,B01,1,500,480,good\n"


@pytest.mark.parametrize(
    "raw",
    [
        b"",
        HEAD,
        HEAD.rstrip(),
        b"\xef\xbb\xbf" + HEAD + ROW,
        HEAD + ROW.rstrip(),
        HEAD + ROW.replace(b"good", b'"two\nlines"').rstrip(),
        HEAD + ROW.replace(b"\n", b"\r\n"),
        HEAD + b'2026-03-30T08:00:00-05:00,B01,1,500,480,"odd\n' + ROW,
        HEAD + b'"odd"quote,B01,1,500,480,good\n',
        HEAD + b"no row at all\n",
    ],
    ids=range(10),
)
def test_whole_files(raw: bytes) -> None:
    """Files whose last line is whole, or broken by hand rather than torn, are not to be cut."""
    assert whole_length(raw, HarvestRow) == len(raw)


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize(
    "torn",
    [
        b"2",
        b"2026-03-30T08:00:00-05:00,B01,1,500,480",
        b'2026-03-30T08:00:00-05:00,B01,1,500,480,"two',
        b'2026-03-30T08:00:00-05:00,B01,1,500,480,"two\n',
        b'2026-03-30T08:00:00-05:00,B01,1,500,480,"two\nli',
        "2026-03-30T08:00:00-05:00,B01,1,500,480,é".encode()[:-1],
    ],
)
def test_torn_files(mark: bytes, torn: bytes) -> None:
    """What comes after the last whole row is counted off, a byte order mark in front or not."""
    assert whole_length(mark + HEAD + ROW + torn, HarvestRow) == len(mark + HEAD + ROW)


@pytest.mark.parametrize("length", [1, 10, len(HEAD) - 2])
def test_torn_header(length: int) -> None:
    """A header cut short is no header."""
    assert whole_length(HEAD[:length], HarvestRow) == 0


def test_last_cell_cut_short_is_torn() -> None:
    """A time that lost the end of its offset is still a time, but not as we write it."""
    head = b"bag,flush,fresh_g,at\n"
    row = b"B01,1,500,2026-03-30T08:00:00-05:30"
    assert whole_length(head + row, HarvestRow) == len(head + row)
    assert whole_length(head + row[:-3], HarvestRow) == len(head)


def test_records_keep_their_bytes() -> None:
    """Records are given with the very bytes of the file; broken quotes are an error with file and line."""
    raw = HEAD + ROW.replace(b"good", "é".encode()) + b'"a\r\nb"\xff,c\r\n'[1:]
    records = list(raw_records(raw, source="harvests.csv"))
    assert b"".join(record.raw for record in records) == raw
    assert records[1].cells[-1] == "é"
    with pytest.raises(LedgerError, match=r"harvests.csv:2: is not CSV"):
        list(raw_records(HEAD + b'"a', source="harvests.csv"))
