"""The pages of the review site that are audited and photographed, and the trial that they are shown with."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from reviewed import add_patch

from colscan.app.cli.main import main


@dataclass(frozen=True, slots=True)
class Page:
    """A page to look at: its name in file names, its address on the site, and how it answers."""

    name: str
    path: str
    status: int = 200

    def __str__(self) -> str:
        return self.name


PAGES = (
    Page("first", "/"),
    Page("recorded", "/?said_bag=B03&said_patch=p1"),
    Page("patch", "/patch?bag=B01&patch=p1"),
    Page("judged", "/patch?bag=B03&patch=p1"),
    Page("say", "/say?bag=B04&found=1"),
    Page("event", "/event"),
    Page("weigh", "/weigh?bag=B04"),
    Page("weigh-which", "/weigh"),
    Page("who", "/who"),
    Page("shelf", "/shelf"),
    Page("bag", "/bag?bag=B03"),
    Page("trial", "/trial"),
    Page("pair", "/pair"),
    Page("phones", "/phones"),
    Page("trouble", "/patch?bag=B99&patch=p1", 400),
)
"""A new page is a line here; a test says so when it is missing."""
NO_PAGES = {"/crop", "/photo", "/face", "/curve", "/chart", "/static/<name>"}
"""What the site answers to GET with something else than a page."""


def show_everything(folder: Path) -> Path:
    """A scanned trial with something to see on every page: patches to judge, and one that is judged."""
    for bag in ("B01", "B02", "B03"):
        add_patch(folder, bag, "p1")
    said = ["--patch", "p1", "--where", "seam", "--action", "isolated", "--note", "smells of earth"]
    assert main(["verdict", str(folder), "B03", "contaminated", *said]) == 0
    return folder
