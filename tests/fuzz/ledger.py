"""The ledger's CSV files, and what the commands that read them make of them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from random import Random

from csv_cells import spoil_cells
from hornbeam import START, make_hornbeam, write_trial
from nasty import decode, encode
from running import run

from colscan.errors import ColscanError
from colscan.ledger import append_row
from colscan.ledger.append import WRITE_ORDER
from colscan.ledger.columns import (
    BatchRow,
    EstimateRow,
    EventRow,
    HarvestRow,
    HeatRunRow,
    PhotoRow,
    ScoreRow,
    SuspectRow,
    TemperatureRow,
    VerdictRow,
)
from colscan.tables import Row, format_header, format_rows, parse_table

KINDS: tuple[type[Row], ...] = (
    PhotoRow, ScoreRow, SuspectRow, VerdictRow, EventRow, HarvestRow, BatchRow, HeatRunRow, TemperatureRow,
    EstimateRow,
)  # fmt: skip
COMMANDS = (
    *(("status",), ("history", "PO3-3"), ("yield",), ("risk",)) * 4, ("compare",), ("agree",),
    ("export", "--output", "{trial}/out"),
)  # fmt: skip
DICTIONARY = tuple(dict.fromkeys(name for kind in KINDS for name in kind.__dataclass_fields__))


class Target:
    """Reads one of the ledger's files; the first byte says which, the second by which command.

    Parameters
    ----------
    trial : Path
        A trial's folder.
    """

    def __init__(self, trial: Path) -> None:
        self._trial = trial.with_name("hornbeam")
        write_trial(self._trial, *make_hornbeam())
        said = (
            HarvestRow(at=START, bag="PO3-1", flush=1, fresh_g=410.5, saleable_g=400),
            BatchRow(mix_batch="M1", at=START, ingredient="water", lot="L1", weight_g=1400, moisture_pct=100),
            HeatRunRow(heat_run="H1", started_at=START, ended_at=START, method="steam", core_celsius=95),
            TemperatureRow(at=START, place="A", celsius=21.5),
            EstimateRow(
                at=START, bag="PO3-1", photo_sha256=f"{3125:064x}", coverage_pct=30, by="a", blind="yes"
            ),
        )
        for row in said:
            (self._trial / row.FILE).write_bytes(format_header(type(row)) + format_rows([row]))
        self._right = {kind.FILE: (self._trial / kind.FILE).read_bytes() for kind in KINDS}

    @property
    def folder(self) -> Path:
        """Where it may write."""
        return self._trial

    def seeds(self) -> Iterator[bytes]:
        """Each file as it is right."""
        for number, raw in enumerate(self._right.values()):
            yield bytes([number, number]) + raw[:4000]

    def __call__(self, data: bytes) -> None:
        """Put it in place, check it, run a command, and add to it."""
        file, command, raw = *(data[:2] + b"\0\0")[:2], data[2:]
        kind = KINDS[file % len(KINDS)]
        path = self._trial / kind.FILE
        path.write_bytes(raw)
        try:
            run("check", str(self._trial))
            name, *options = COMMANDS[command % len(COMMANDS)]
            run(name, str(self._trial), *(word.format(trial=self._trial) for word in options))
            self._append(kind, raw)
        finally:
            path.write_bytes(self._right[kind.FILE])

    def mutate(self, data: bytes, rng: Random, mutate: Callable[[bytes], bytes]) -> bytes:
        """Change a cell, a line, which command reads it, or anything."""
        how = rng.random()
        if how < 0.15:
            return data[:2] + mutate(data[2:])
        if how < 0.25:
            return data[:1] + rng.randbytes(1) + data[2:]
        return data[:2] + encode(spoil_cells(decode(data[2:]), rng))

    def _append(self, kind: type[Row], raw: bytes) -> None:
        """What people say is appended to any file that is whole, and can be read again."""
        if kind in WRITE_ORDER:
            return
        try:
            append_row(self._trial, parse_table(self._right[kind.FILE], kind, source=kind.FILE).rows[0])
        except ColscanError:
            # A record that is cut short at the file's end goes before anything is written.
            kept = (self._trial / kind.FILE).read_bytes()
            assert raw.startswith(kept), "a file that couldn't be added to was changed"
