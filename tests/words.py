"""Whose each name is that colscan shows: the trade's, an open standard's, or our own plain word."""

from __future__ import annotations

from collections.abc import Iterator

import click

from colscan.app.cli.main import COMMANDS, colscan
from colscan.flags import Flag
from colscan.ledger.columns import LEDGER_TABLES
from colscan.tables import columns_of
from colscan.trial.keys import SECTIONS, TOP
from colscan.trial.model import Bag
from colscan.trial.shelfmap import MAP_FILE, PLACE_KEYS, SHELF_KEYS

TRADE = {
    "bag": "the block of substrate in its filter bag",
    "bag_dry": "a bag's oven-dry matter",
    "bag_wet": "a bag's weight as filled",
    "blank": "a bag that gets no spawn and tells whether the heat held",
    "cold-shocked": "cooled to start fruiting",
    "consolidate_days": "days of rest between full colonization and fruiting",
    "control": "the treatment that others are held against",
    "contaminated": "something grows that isn't the strain",
    "dry_g": "oven-dry substrate, what biological efficiency counts on",
    "fill_wet_g": "wet substrate filled in",
    "flush": "one crop of a bag; the first, the second",
    "fresh_g": "fresh weight, as harvested",
    "fruiting": "put to fruit",
    "harvest": "picking and weighing a flush",
    "heat": "sterilizing or pasteurizing",
    "heat_run": "one load of the vessel",
    "inoculated_at": "when the spawn went in",
    "lot": "a supplier's batch",
    "main": "the main substrate",
    "mix": "substrate, supplement and water, mixed at once",
    "mix_batch": "which mix a bag was filled from",
    "moisture_pct": "water per wet weight",
    "pins": "the first small mushrooms",
    "replicates": "bags of a strain at a level, as in any trial",
    "recipe": "what goes into a bag",
    "saleable_g": "what of a flush can be sold",
    "shaken": "mixed up by hand during the spawn run",
    "seed": "what a drawing by lot begins from",
    "soaked": "put under water between flushes",
    "species": "of a strain",
    "spawn": "grain with the strain on it",
    "spawn_g": "spawn in a bag",
    "spawn_lot": "the spawn's batch",
    "spawn_method": "mixed in, or laid on top",
    "spawn_moisture_pct": "the spawn's water per wet weight",
    "strain": "a culture with a code",
    "supplement": "bran and the like, added for yield",
    "supplement_base": "what a level is a percentage of",
    "supplement_pct": "the level",
    "yield": "harvested weight",
}
STANDARD = {
    "a4": "ISO 216",
    "blind": "judging without knowing the treatment, as in any trial",
    "camera": "EXIF: make and model",
    "celsius": "SI",
    "csv": "RFC 4180",
    "exif-offset": "EXIF: OffsetTimeOriginal",
    "exif-trial-zone": "EXIF: DateTimeOriginal, without offset",
    "fahrenheit": "the US customary scale",
    "json": "RFC 8259",
    "letter": "ANSI/ASME Y14.1, size A",
    "photo_sha256": "FIPS 180-4",
    "tag": "AprilTag, family 36h11",
    "time_zone": "IANA time zone names",
    "zone": "IANA time zone names",
}


def shown() -> dict[str, set[str]]:
    """Every command, option, file, column, key and word of the files, with where it stands."""
    found: dict[str, set[str]] = {}
    for name, where in _names():
        found.setdefault(name, set()).add(where)
    return found


def _names() -> Iterator[tuple[str, str]]:
    context = click.Context(colscan)
    for name in COMMANDS:
        yield name, "command"
        command = colscan.get_command(context, name)
        assert command is not None
        for option in command.params:
            yield from ((word, f"colscan {name}") for word in option.opts if word.startswith("--"))
            if isinstance(option.type, click.Choice):
                yield from ((str(word), f"colscan {name} {option.opts[0]}") for word in option.type.choices)
    for flag in Flag:
        yield str(flag), "flag"
    for table in (Bag, *LEDGER_TABLES):
        for name, column in columns_of(table).items():
            yield name, table.FILE
            if set(column.choices) != set(Flag):
                yield from ((word, f"{table.FILE} {name}") for word in column.choices)
    for section in (TOP, *SECTIONS):
        yield from ((name, "trial.toml") for name in section.keys)
    yield from ((name, MAP_FILE) for name in (*SHELF_KEYS, *PLACE_KEYS))
