"""A small trial, right in every respect, for tests that spoil one thing."""

import pytest

PLAN = """\
name = "hornbeam"
time_zone = "America/New_York"

[[strain]]
code = "PO-3"

[[strain]]
code = "PE-1"

[[treatment]]
supplement = "bran"
supplement_pct = 0

[[treatment]]
supplement = "bran"
supplement_pct = 8
"""
BAGS = """\
bag,tag,strain,supplement,supplement_pct,inoculated_at
B01,1,PO-3,bran,0,2026-03-02T06:00:00-05:00
B02,2,PO-3,bran,8,2026-03-02T06:00:00-05:00
B03,,PE-1,bran,0,2026-03-02T06:00:00-05:00
B04,4,PE-1,bran,8,2026-03-02T06:00:00-05:00
"""


@pytest.fixture
def write_trial(tmp_path):
    """A function that writes a trial with one thing replaced, and returns its folder."""

    def write(*replacements, plan=PLAN, bags=BAGS, name="hornbeam"):
        for old, new in replacements:
            assert old in plan + bags
            plan, bags = plan.replace(old, new, 1), bags.replace(old, new, 1)
        folder = tmp_path / name
        folder.mkdir()
        (folder / "trial.toml").write_text(plan, encoding="utf-8", newline="")
        (folder / "bags.csv").write_text(bags, encoding="utf-8", newline="")
        return folder

    return write
