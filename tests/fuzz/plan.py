"""The plan: trial.toml, bags.csv, a grower's own bag list, shelfmap.toml, a recipe kept as JSON."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from random import Random
from zoneinfo import ZoneInfo

from csv_cells import spoil_cells
from nasty import WORDS, decode, encode, spoil_lines
from running import run

from colscan.app.recipe_rows import read_figures
from colscan.trial import load_trial, sibling_tags
from colscan.trial.baglist import complete_list, own_columns, parse_bags, read_aware_times
from colscan.trial.keys import SECTIONS, TOP
from colscan.trial.model import PLAN_FILE, Bag
from colscan.trial.shelfmap import MAP_FILE, read_shelfmaps

DICTIONARY = (*(section.header for section in SECTIONS), *TOP.keys, *(k for s in SECTIONS for k in s.keys))
_RECIPE = "recipe.json"
FILES = (PLAN_FILE, Bag.FILE, MAP_FILE, "list.csv", _RECIPE)
_RECIPE_TEXT = """
[recipe]
main = ["oak sawdust, 1 kg, moisture 8%, C 50%, N 0.1%, source table, density 0.3",
    "straw, 500 g, moisture 12%"]
supplement = ["bran, moisture 12%, C 45%, N 2.5%"]
other = ["gypsum, 20 g"]
moisture_pct = 60
spawn = "5% of wet"
spawn_moisture_pct = 45
"""
_LIMITS = """
[limits]
contamination_risk = 0.2
horizon = "full"
stalled_days = 3
max_photo_megapixels = 50

[[shelf]]
name = "A"
tiers = 3
cards = [580, 581]
"""
_MAP = """
[[shelf]]
name = "A"
photo = "IMG_1.jpg"
photo_sha256 = "{sha}"
width_px = 850
height_px = 640

[[shelf.place]]
bag = "B05"
outline_px = [[10.0, 20.0], [110, 20], [110.0, 150.5]]
"""


class Target:
    """Reads one of the plan's files, the others being right; the first byte says which.

    Parameters
    ----------
    trial : Path
        A trial's folder.
    """

    def __init__(self, trial: Path) -> None:
        self._trial = trial
        maps = _MAP.replace("{sha}", "0" * 64)
        plan, bags = ((trial / name).read_text(encoding="utf-8") for name in (PLAN_FILE, Bag.FILE))
        (trial / PLAN_FILE).write_text(plan + _RECIPE_TEXT, encoding="utf-8")
        recipe = run("recipe", str(trial), "--format", "json")
        local = bags.replace("-05:00", "")
        self._right = dict(
            zip(FILES, (plan + _RECIPE_TEXT + _LIMITS, bags, maps, local, recipe), strict=True)
        )
        self._write(self._right)

    def seeds(self) -> Iterator[bytes]:
        """Each file as it is right."""
        for number, text in enumerate(self._right.values()):
            yield bytes([number]) + text.encode()

    def __call__(self, data: bytes) -> None:
        """Put it in place, read the plan, and what is made from the plan when it is right."""
        name = FILES[(data[:1] or b"\0")[0] % len(FILES)]
        path, raw = self._trial / name, data[1:]
        path.write_bytes(raw)
        try:
            if name == "list.csv":
                self._read_list(raw)
            elif name == _RECIPE:
                read_figures(path)
            else:
                self._read_plan()
        finally:
            path.write_text(self._right[name], encoding="utf-8")

    def mutate(self, data: bytes, rng: Random, mutate: Callable[[bytes], bytes]) -> bytes:
        """Change a line, a cell, or anything."""
        head, text, how = data[:1], decode(data[1:]), rng.random()
        if how < 0.3:
            return head + mutate(data[1:])
        if FILES[(head or b"\0")[0] % len(FILES)].endswith(".csv"):
            return head + encode(spoil_cells(text, rng))
        if how < 0.6 and "=" in text:
            lines = text.splitlines(keepends=True)
            at = rng.choice([number for number, line in enumerate(lines) if "=" in line])
            key = lines[at].partition("=")[0]
            word = rng.choice(WORDS)
            lines[at] = (
                f"{key}= {rng.choice((word, repr(word), f'[{word!r}]', '[' * 2000, '[[[]]]', '{a.b=1}'))}\n"
            )
            return head + encode("".join(lines))
        return head + encode(spoil_lines(text, rng))

    def _read_plan(self) -> None:
        (self._trial.parent / "beside" / PLAN_FILE).write_bytes((self._trial / PLAN_FILE).read_bytes())
        sibling_tags(self._trial.parent / "new")
        trial = load_trial(self._trial)
        read_shelfmaps(self._trial, bags={bag.bag for bag in trial.bags})
        run("status", str(self._trial))
        run("recipe", str(self._trial))

    def _read_list(self, raw: bytes) -> None:
        read_aware_times(raw)
        own_columns(raw)
        done = complete_list(raw, ZoneInfo("America/New_York"))
        parse_bags(done.raw, "list.csv", plan=None)

    def _write(self, files: dict[str, str]) -> None:
        for name, text in files.items():
            (self._trial / name).write_text(text, encoding="utf-8")
