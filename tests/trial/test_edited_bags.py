"""bags.csv saved by a spreadsheet lists the same bags, in place and as a list to begin a trial with."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest
from spreadsheet import KEPT

from colscan.trial.baglist import complete_list, parse_bags
from colscan.trial.model import Bag

RAW = (
    b"bag,tag,strain,supplement,supplement_pct,fill_wet_g,inoculated_at,note\n"
    b"B01,1,PO-3,bran,2.5,1500.5,2026-03-02T06:00:00-05:00,\n"
    b'B02,2,PO-3,none,0,1500,2026-03-02T06:30:00-05:00,"a; b, ""c"""\n'
)


@pytest.mark.parametrize("edit", KEPT)
def test_the_same_bags(edit: str) -> None:
    """Whatever it did to delimiters, decimals, line ends, columns and quotes."""
    edited = KEPT[edit](RAW, Bag)
    bags = parse_bags(RAW, "bags.csv", plan=None)
    assert parse_bags(edited, "bags.csv", plan=None) == bags
    completed = complete_list(edited, ZoneInfo("America/New_York")).raw
    assert parse_bags(completed, "bags.csv", plan=None) == bags
