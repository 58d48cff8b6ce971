"""The pages of the review site that are audited and photographed, and the trial that they are shown with."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from reviewed import add_patch

from colscan.app.cli.main import main


@dataclass(frozen=True, slots=True)
class Page:
    """A page to look at: its name in file names, its address, how it answers, and of which site it is."""

    name: str
    path: str
    status: int = 200
    begun: bool = True

    def __str__(self) -> str:
        return self.name


PLAN = (
    "name=birch&zone=America/New_York&strain=PO-3&strain=HE-2&supplement=bran&base=main&level=0&level=8"
    "&replicates=4&accept=20&blanks=0"
)
"""What somebody typed into the form that begins a trial."""
PAGES = (
    Page("first", "/"),
    Page("recorded", "/?said_bag=B03&said_patch=p1"),
    Page("patch", "/patch?bag=B01&patch=p1"),
    Page("judged", "/patch?bag=B03&patch=p1"),
    Page("bag-says", "/bag?bag=B04&found=1"),
    Page("event", "/event"),
    Page("weigh", "/weigh?bag=B04"),
    Page("weigh-which", "/weigh"),
    Page("who", "/who"),
    Page("photos", "/photos"),
    Page("map", "/map"),
    Page("opinion", "/opinion"),
    Page("unblind", "/unblind"),
    Page("begun", "/begun"),
    Page("shelf", "/shelf"),
    Page("bag", "/bag?bag=B03"),
    Page("bag-left", "/bag?bag=B08"),
    Page("trial", "/trial"),
    Page("pair", "/pair"),
    Page("phones", "/phones"),
    Page("trouble", "/patch?bag=B99&patch=p1", 400),
    Page("begin", "/begin", begun=False),
    Page("plan", f"/begin?{PLAN}", begun=False),
    Page("plan-refused", f"/begin?{PLAN}&first_tag=579", 400, begun=False),
)
"""A new page is a line here; a test says so when it is missing."""
NO_PAGES = {
    "/crop", "/photo", "/face", "/curve", "/chart", "/opinion/face", "/map/picture", "/photos/state",
    "/<any('cards','mixing','shelf-plan','practice'):sheet>.pdf", "/static/<name>",
}  # fmt: skip
"""What the site answers to GET with something else than a page."""


def show_everything(folder: Path) -> Path:
    """A scanned trial with something to see on every page: patches to judge, one judged, two bags gone."""
    for bag in ("B01", "B02", "B03"):
        add_patch(folder, bag, "p1")
    said = ["--patch", "p1", "--where", "seam", "--action", "isolated", "--note", "smells of earth"]
    assert main(["verdict", str(folder), "B03", "contaminated", *said]) == 0
    assert main(["event", str(folder), "missing", "--bag", "B07"]) == 0
    assert main(["event", str(folder), "discarded", "--bag", "B08"]) == 0
    return folder
