"""The zone a trial begins with."""

from datetime import datetime

import pytest

from colscan.trial import zones
from colscan.trial.zones import check_zone, choose_zone, system_zone

WINTER = datetime.fromisoformat("2026-03-02T06:00:00-05:00")
SUMMER = datetime.fromisoformat("2026-03-20T06:00:00-04:00")


@pytest.fixture
def localtime(tmp_path, monkeypatch):
    """A stand-in for /etc/localtime; TZ is not set."""
    monkeypatch.delenv("TZ", raising=False)
    monkeypatch.setattr(zones, "LOCALTIME", tmp_path / "localtime")
    return tmp_path / "localtime"


@pytest.mark.parametrize("name", ["Mars/Olympus", "", "America", "/etc/passwd", "../UTC", "Ü", "x" * 500])
def test_an_unknown_zone_is_refused(name):
    """Names of nothing, of a folder of zones, or with a way out of it."""
    with pytest.raises(ValueError, match="is not a known time zone"):
        check_zone(name)


def test_a_near_zone_is_suggested():
    """A slip in the name is answered with the name."""
    with pytest.raises(ValueError, match="did you mean 'America/New_York'"):
        check_zone("america/newyork")


def test_the_system_zone_is_read_from_the_link(localtime):
    """The link's target names the zone."""
    localtime.symlink_to("/usr/share/zoneinfo/America/Chicago")
    assert system_zone() == "America/Chicago"


@pytest.mark.parametrize("value", ["Europe/Oslo", ":Europe/Oslo", ":/usr/share/zoneinfo/Europe/Oslo"])
def test_tz_outweighs_the_link(localtime, monkeypatch, value):
    """TZ names the zone with or without colon and path."""
    localtime.symlink_to("/usr/share/zoneinfo/America/Chicago")
    monkeypatch.setenv("TZ", value)
    assert system_zone() == "Europe/Oslo"


def test_a_system_without_a_name_has_none(localtime):
    """A copied file instead of a link tells nothing."""
    localtime.write_bytes(b"TZif2")
    assert system_zone() is None


def test_the_given_zone_comes_first(localtime):
    """Whatever else is known."""
    assert choose_zone("Europe/Oslo", [WINTER]).name == "Europe/Oslo"


def test_the_system_zone_is_taken_when_the_list_agrees(localtime):
    """New York's offsets in March are -05:00 and, from the 8th on, -04:00."""
    localtime.symlink_to("/usr/share/zoneinfo/America/New_York")
    assert choose_zone(None, [WINTER, SUMMER]).name == "America/New_York"


def test_the_lists_offset_outweighs_a_system_elsewhere(localtime):
    """A server in UTC says nothing about where the bags stand."""
    localtime.symlink_to("/usr/share/zoneinfo/Etc/UTC")
    chosen = choose_zone(None, [WINTER])
    assert chosen.name == "Etc/GMT+5"
    assert "bag list's offset" in chosen.because


def test_several_foreign_offsets_leave_the_system_zone_and_say_so(localtime):
    """Two offsets fit no zone without summer time."""
    localtime.symlink_to("/usr/share/zoneinfo/Etc/UTC")
    chosen = choose_zone(None, [WINTER, SUMMER])
    assert chosen.name == "Etc/UTC"
    assert "other offsets" in chosen.because


def test_the_lists_offset_serves_where_the_system_is_silent(localtime):
    """East of Greenwich too; half hours have no such zone."""
    assert choose_zone(None, [datetime.fromisoformat("2026-03-02T06:00:00+09:00")]).name == "Etc/GMT-9"
    assert choose_zone(None, [datetime.fromisoformat("2026-03-02T06:00:00+05:30")]).name == "UTC"


def test_utc_is_the_last_resort(localtime):
    """Nothing known: UTC, and it says why."""
    chosen = choose_zone(None, [])
    assert (chosen.name, "doesn't say" in chosen.because) == ("UTC", True)
