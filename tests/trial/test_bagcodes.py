"""Bag codes that a spreadsheet would turn into something else."""

import doctest

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from colscan.trial import bagcodes
from colscan.trial.bagcodes import explain_mangling, suggest_code

MANGLED = {
    "a date": "MAR1 mar-1 1-Mar 1MAR SEPT2 MARC1 MARCH1 DEC12 Oct-2026 3-jan-2026 2026-03-02T06:00",
    "a date or a number": "3-4 1/2 2026-03-02 1.2.3 2026-03 3/4/26",
    "a time of day": "3:15 12:30:45 3PM 3:15pm",
    "a number (digits, E, digits is a power of ten)": "1E2 1e+5 2.5E3 007E1",
    "a number and drops its leading zeros": "007 01",
    "a number": "12 1.5 1,000 50% $5 €5 (12) 5- 7",
    "a logical value": "TRUE false True",
    "an error value": "#N/A #ref!",
}
CASES = [(code, what) for what, codes in MANGLED.items() for code in codes.split()]
# Codes with blanks within can't stand in the table above.
CASES += [("MAR 1", "a date"), ("Jan. 3", "a date"), ("3 PM", "a time of day"), ("3 A", "a time of day")]
CASES += [("1 000", "a number"), ("1 1/2", "a date or a number"), ("\uff13", "a number")]
FINE = "B07 PO-3 PE-1 A1 E5 2E 3A 12_3 JANE1 MAY MAYA JAN-FEB B-TRUE B3-4 tray-12 1st 4x4 Ä1"


def test_the_examples_of_the_docstrings():
    """They say what the functions return."""
    assert doctest.testmod(bagcodes).failed == 0


@pytest.mark.parametrize(("code", "what"), CASES)
def test_a_mangled_code_is_explained(code, what):
    """Each kind is named for what it would become."""
    assert explain_mangling(code) == f"a spreadsheet turns it into {what}"


@pytest.mark.parametrize(
    "code", [" B01", "B01 ", "\u00a0B01", "=A1", "+B", "-x", "@y", "'x", "B\n1", "B\t1", ""]
)
def test_a_code_that_hides_something_is_explained(code):
    """Spaces at the ends, formula starts, the apostrophe and line breaks are told too."""
    assert explain_mangling(code) is not None


@pytest.mark.parametrize("code", FINE.split())
def test_an_ordinary_code_is_left_alone(code):
    """No false alarm for codes as growers write them."""
    assert explain_mangling(code) is None


@settings(deadline=None)
@given(code=st.one_of(st.text(max_size=12), st.text("0123456789-/:.E MARSEPTTRUE='+", max_size=8)))
def test_a_suggested_code_is_never_mangled(code):
    """Whatever was written, the suggestion can be used."""
    assert explain_mangling(suggest_code(code)) is None


@settings(deadline=None)
@given(code=st.text("0123456789 -/:.,%()$", min_size=1, max_size=10))
def test_figures_alone_are_never_a_code(code):
    """A code with a digit and no letter is always refused."""
    assume(any(c.isdigit() for c in code))
    assert explain_mangling(code) is not None


@settings(deadline=None)
@given(letters=st.text("BCGHIKLQRUVWXYZ", min_size=1, max_size=3), number=st.integers(0, 9999))
def test_letters_and_a_number_are_a_code(letters, number):
    """The usual way to number bags is always accepted (letters that begin no month, nor E, A, P)."""
    assert explain_mangling(f"{letters}{number}") is None
