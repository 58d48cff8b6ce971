"""A trial begun from an earlier one: what is taken over, what is changed, and that both are said."""

import hashlib
import os

import pytest

from colscan.errors import LedgerError, TrialError
from colscan.trial import Changes, begin_next, load_trial
from colscan.trial.shelfmap import Place, ShelfMap, read_shelfmaps, write_shelfmap

DAY_0 = "2026-05-04T06:00"
RICH = """\
name = "First"
time_zone = "America/New_York"
question = "How much bran?"
planned_end = 2026-04-01T00:00:00
ended_at = 2026-04-02T00:00:00
plan = "--strain PO-3 --seed 4"

[limits]
contamination_risk = 0.1

[[strain]]
code = "PO-3"
species = "oyster"
consolidate_days = 5
healthy_looks = ["brown"]

[[treatment]]
supplement = "bran"
supplement_pct = 0
supplement_base = "the chips"

[[treatment]]
supplement = "bran"
supplement_pct = 8
supplement_base = "the chips"

[[shelf]]
name = "cellar"
tiers = 2
cards = [580, 581]
"""
RICH_BAGS = """\
bag,tag,role,strain,supplement,supplement_pct,group,shelf,position,heat_run,spawn_order,fill_wet_g,rack,inoculated_at
a-1,0,trial,PO-3,bran,0,G1,cellar,tier 1,H1,1,900,left,2026-03-02T06:00:00-05:00
a-2,7,trial,PO-3,bran,8,G2,cellar,tier 2,H1,2,,left,2026-03-03T06:00:00-05:00
a-3,,blank,none,bran,8,G2,cellar,tier 2,H1,,,left,2026-03-02T06:00:00-05:00
"""


def below(folder):
    """All that stands in a folder, by path, with content."""
    return {p.relative_to(folder): p.read_bytes() if p.is_file() else None for p in folder.rglob("*")}


def shown(trial):
    """Its bags: code, tag, strain and treatment."""
    return [(bag.bag, bag.tag, bag.strain, bag.treatment) for bag in trial.bags]


@pytest.fixture
def mapped(write_trial):
    """A trial with a map of its one bag without a card, and the mapped photo."""
    folder = write_trial()
    raw = b"a photo"
    digest = hashlib.sha256(raw).hexdigest()
    (folder / "photos").mkdir()
    (folder / "photos" / f"2026-03-02T080000-{digest[:8]}.jpg").write_bytes(raw)
    place = Place(bag="B03", outline_px=((1.0, 2.0), (3.0, 2.0), (3.0, 9.5)))
    one = ShelfMap(
        shelf="cellar", photo="IMG.jpg", photo_sha256=digest, width_px=10, height_px=20, places=(place,)
    )
    write_shelfmap(folder, one)
    return folder


def test_all_is_taken_over_but_what_happened(write_trial, tmp_path):
    """Plan, bags, places and tags are as before; runs, weights and ends are not, and that is said."""
    source = write_trial(plan=RICH, bags=RICH_BAGS)
    before = below(source)
    made = begin_next(tmp_path / "next", source, Changes(inoculated_at=DAY_0))
    assert below(source) == before
    trial, earlier = load_trial(tmp_path / "next"), load_trial(source)
    assert trial == made.trial
    for name in ("time_zone", "question", "limits", "strains", "treatments", "shelves"):
        assert getattr(trial, name) == getattr(earlier, name)
    assert (trial.name, trial.plan, trial.planned_end, trial.ended_at) == ("next", "", None, None)
    assert (tmp_path / "next" / "bags.csv").read_text().splitlines()[1:] == [
        "a-1,0,trial,PO-3,bran,0,G1,cellar,tier 1,,,,,mixed,,,,2026-05-04T06:00:00-04:00,",
        "a-2,7,trial,PO-3,bran,8,G2,cellar,tier 2,,,,,mixed,,,,2026-05-04T06:00:00-04:00,",
        "a-3,,blank,none,bran,8,G2,cellar,tier 2,,,,,mixed,,,,2026-05-04T06:00:00-04:00,",
    ]
    assert made.notes == (
        "as in 'First': time zone, question, judging, limits, strains, treatments, shelves, bags' shelves,"
        " groups, places",
        "inoculated_at: 2026-03-02T06:00-05:00 to 2026-03-03T06:00-05:00 -> 2026-05-04T06:00-04:00",
        "planned_end: 2026-04-01T00:00-04:00 -> not set",
        "not taken over: heat runs, spawning order, weights",
        "tags: a-1 to a-2 have 0, 7, as before; the cards show the old date",
        "not taken over: columns of your own (rack)",
        f"drawn by lot before; draw again with colscan plan {tmp_path / 'next'} and the options under plan in"
        f" {source / 'trial.toml'}, without --seed, --inoculated-at and --spawn-lot",
    )


def test_what_is_given_takes_the_place_of_what_was(write_trial, tmp_path):
    """Bags are laid out anew; a known strain keeps its looks, a new level has the base of the others."""
    source = write_trial(plan=RICH, bags=RICH_BAGS)
    changes = Changes(strains=("PO-3", "PE-1"), levels_pct=(0.0, 8.0, 12.0), inoculated_at=DAY_0)
    made = begin_next(tmp_path / "next", source, changes, name="Second", time_zone="Europe/Vienna")
    trial = load_trial(tmp_path / "next")
    assert shown(trial) == [
        ("B01", 0, "PO-3", "bran 0 %"),
        ("B02", 7, "PO-3", "bran 8 %"),
        ("B03", 1, "PO-3", "bran 12 %"),
        ("B04", 2, "PE-1", "bran 0 %"),
        ("B05", 3, "PE-1", "bran 8 %"),
        ("B06", 4, "PE-1", "bran 12 %"),
    ]
    assert [(s.code, s.species, s.healthy_looks) for s in trial.strains] == [
        ("PO-3", "oyster", ("brown",)),
        ("PE-1", "", ()),
    ]
    assert {t.supplement_base for t in trial.treatments} == {"the chips"}
    assert {(b.shelf, b.position, b.group) for b in trial.bags} == {("cellar", None, None)}
    assert made.notes[:-2] == (
        "as in 'First': question, judging, limits, shelves",
        "time zone: America/New_York -> Europe/Vienna",
        "strains: PO-3 -> PO-3, PE-1",
        "treatments: bran 0 %, bran 8 % -> bran 0 %, bran 8 %, bran 12 %",
        "bags: 3 -> 6",
        "blanks: 1 -> 0",
        "inoculated_at: 2026-03-02T06:00-05:00 to 2026-03-03T06:00-05:00 -> 2026-05-04T06:00+02:00",
        "planned_end: 2026-04-01T00:00-04:00 -> not set",
        "not taken over: groups, places, heat runs, spawning order, weights",
        "tags: B01 to B06 have 0-4, 7",
    )


@pytest.mark.parametrize(
    ("changes", "treatments"),
    [
        (Changes(levels_pct=(0.0, 4.0)), ["bran 0 %", "bran 4 %"]),
        (Changes(supplement="soy"), ["soy 0 %", "soy 8 %"]),
        (Changes(supplement="soy", levels_pct=(3.0,)), ["soy 3 %"]),
        (Changes(supplement="none"), ["none"]),
        (Changes(replicates=1), ["none", "bran 8 %"]),
    ],
)
def test_a_control_without_supplement(write_trial, tmp_path, changes, treatments):
    """Beside one supplement `none` is a level like 0: other levels take its place, other things leave it."""
    none = ('"bran"\nsupplement_pct = 0', '"none"\nsupplement_pct = 0')
    source = write_trial(none, ("PO-3,bran,0", "PO-3,none,0"), ("PE-1,bran,0", "PE-1,none,0"))
    begin_next(tmp_path / "next", source, changes)
    trial = load_trial(tmp_path / "next")
    assert list(dict.fromkeys(bag.treatment for bag in trial.bags)) == treatments
    assert len(trial.bags) == 2 * len(treatments)


def test_tags_in_use_give_way(write_trial, tmp_path):
    """The cards of a running trial hang on its bags: the next ones are taken, and it is said why."""
    source = write_trial()
    made = begin_next(tmp_path / "next", source, Changes())
    assert [bag.tag for bag in made.trial.bags] == [3, 5, None, 6]
    toml = source / "trial.toml"
    assert (
        f"tags: B01 to B04 have 3, 5-6; in use in 'hornbeam': 1-2, 4, until ended_at is set in {toml}"
        in made.notes
    )
    toml.write_text("ended_at = 2026-04-01T00:00:00Z\n" + toml.read_text())
    made = begin_next(tmp_path / "third", source, Changes())
    assert [bag.tag for bag in made.trial.bags] == [1, 2, None, 4]
    assert "tags: B01 to B04 have 1-2, 4, as before; the cards show the old date" in made.notes
    made = begin_next(tmp_path / "other" / "farm", source, Changes(first_tag=2))
    assert [bag.tag for bag in made.trial.bags] == [2, 3, 4, 5]


def test_bags_without_cards_stay_so(write_trial, tmp_path):
    """Also when there are more of them."""
    source = write_trial(("B01,1,", "B01,,"), ("B02,2,", "B02,,"), ("B04,4,", "B04,,"))
    made = begin_next(tmp_path / "next", source, Changes(replicates=2))
    assert [bag.tag for bag in made.trial.bags] == [None] * 8
    assert not any("tags" in note for note in made.notes)


def test_a_map_goes_with_its_bags(mapped, tmp_path):
    """With the photo that later ones are laid onto; other bags have other places."""
    made = begin_next(tmp_path / "next", mapped, Changes())
    codes = [bag.bag for bag in made.trial.bags]
    assert read_shelfmaps(tmp_path / "next", bags=codes) == read_shelfmaps(mapped, bags=codes)
    assert below(tmp_path / "next" / "photos") == below(mapped / "photos")
    anew = f"colscan map {tmp_path / 'next'} PHOTO"
    assert made.notes[-1] == (
        "shelf map of cellar: taken over, with its photo IMG.jpg. Put each bag where the bag of its code"
        f" stood, or make it anew: {anew}"
    )
    made = begin_next(tmp_path / "more", mapped, Changes(replicates=3))
    assert sorted(path.name for path in (tmp_path / "more").iterdir()) == ["bags.csv", "trial.toml"]
    assert made.notes[-1].startswith("shelf map: not taken over, its bags are others")


@pytest.mark.parametrize("spoil", ["gone", "another"])
def test_a_map_without_its_photo_stays_behind(mapped, tmp_path, spoil):
    """Nothing could be laid onto it: the photo is gone, or isn't that one."""
    (photo,) = (mapped / "photos").iterdir()
    photo.unlink() if spoil == "gone" else photo.write_bytes(b"another")
    made = begin_next(tmp_path / "next", mapped, Changes())
    assert sorted(path.name for path in (tmp_path / "next").iterdir()) == ["bags.csv", "trial.toml"]
    assert f"its photo IMG.jpg is gone from {mapped / 'photos'}" in made.notes[-1]


@pytest.mark.parametrize(
    ("replacements", "changes", "told"),
    [
        ((('code = "PO-3"', 'kode = "PO-3"'),), Changes(), r"trial\.toml:5: unknown key 'kode'"),
        ((("B01,1,PO-3", "MAR1,1,PO-3"),), Changes(), r"bags\.csv:2: bag code 'MAR1'"),
        ((("B01,1,PO-3,bran,0,", "B01,1,PO-3,bran,8,"),), Changes(strains=("X",)), "has 1 to 2 bags of a"),
        ((("B04,4,PE-1,bran,8", "B04,4,PE-1,soy,4"), ('"bran"\nsupplement_pct = 8', '"bran"\nsupplement_pct'
          ' = 8\n[[treatment]]\nsupplement = "soy"\nsupplement_pct = 4')), Changes(levels_pct=(3.0,)),
         "--level of which supplement"),
        ((), Changes(levels_pct=(3.0, 3.0)), "--level 3 is given twice"),
        ((), Changes(inoculated_at="soon"), "--inoculated-at 'soon' is not a time"),
        ((), Changes(first_tag=2), "tag 2 of bag B01 is in use on bag B02"),
        ((), Changes(replicates=400), "1600 bags need 1600 tags"),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_refused(write_trial, tmp_path, replacements, changes, told):
    """With what is wrong, by file and line; nothing is written."""
    source = write_trial(*replacements)
    with pytest.raises(TrialError, match=told):
        begin_next(tmp_path / "next", source, changes)
    assert not (tmp_path / "next").exists()


def test_what_is_there_is_not_overwritten(mapped, tmp_path):
    """A map in the folder is refused; the very photo may be there and stays."""
    (photo,) = (mapped / "photos").iterdir()
    there = tmp_path / "next" / "photos" / photo.name
    there.parent.mkdir(parents=True)
    there.write_bytes(photo.read_bytes())
    (tmp_path / "next" / "shelfmap.toml").touch()
    before = below(tmp_path / "next"), there.stat().st_mtime_ns
    with pytest.raises(TrialError, match=r"shelfmap\.toml is there already"):
        begin_next(tmp_path / "next", mapped, Changes())
    assert (below(tmp_path / "next"), there.stat().st_mtime_ns) == before
    (tmp_path / "next" / "shelfmap.toml").unlink()
    begin_next(tmp_path / "next", mapped, Changes())
    assert there.stat().st_mtime_ns == before[1]


def test_bags_without_spawn_are_nothing_to_go_by(write_trial, tmp_path):
    """Blanks alone say neither strains nor how many."""
    bags = (
        "bag,role,strain,supplement,supplement_pct,inoculated_at\nB01,blank,none,bran,0,2026-03-02T06:00Z\n"
    )
    with pytest.raises(TrialError, match=r"bags\.csv lists no bag with spawn"):
        begin_next(tmp_path / "next", write_trial(bags=bags), Changes())


def test_the_place_must_be_free(write_trial, tmp_path):
    """A trial can't begin in itself, inside itself, or from what is none."""
    source = write_trial()
    before = below(tmp_path)
    for folder, earlier, told in (
        (source, source, "holds a trial already"),
        (source / "in", source, "lies inside the trial"),
        (tmp_path / "next", tmp_path, "is no trial: there is no trial.toml in it"),
        (tmp_path / "next", tmp_path / "nothing", "there is no such folder"),
    ):
        with pytest.raises(TrialError, match=told):
            begin_next(folder, earlier, Changes())
    assert below(tmp_path) == before


@pytest.mark.parametrize("stop", [KeyboardInterrupt, OSError])
@pytest.mark.parametrize("after", [0, 1, 2, 3])
def test_stopped_midway_nothing_is_left(mapped, tmp_path, monkeypatch, stop, after):
    """After any of the four files: neither folder nor photo."""
    real, calls = os.fsync, []

    def fsync(number):
        calls.append(number)
        if len(calls) > after:
            raise stop
        real(number)

    monkeypatch.setattr(os, "fsync", fsync)
    with pytest.raises(KeyboardInterrupt if stop is KeyboardInterrupt else LedgerError):
        begin_next(tmp_path / "deep" / "next", mapped, Changes())
    assert not (tmp_path / "deep").exists()
