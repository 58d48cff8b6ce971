"""bags.csv to `Bag` rows: cells by their declared columns, then codes, tags, strains, treatments."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from itertools import chain, repeat

from colscan.errors import Problem, TrialError
from colscan.hints import suggest_near
from colscan.records import Record, delimiter_of, format_record, split_records, with_point
from colscan.tables import Line, columns_of, format_cell, parse_cell, parse_table, required_columns
from colscan.trial.bagcodes import BREAKS_LINES, breaks_lines, explain_mangling, suggest_code
from colscan.trial.model import Bag, Strain, Treatment, Trial
from colscan.trial.problems import decode_plan_file, raise_problems
from colscan.units import parse_time

NOTHING = "none"
_DATE_LENGTH = len("2026-03-02")


@dataclass(frozen=True, slots=True, kw_only=True)
class CompletedList:
    """A grower's bag list, made fit to be bags.csv.

    Parameters
    ----------
    raw : bytes
        The list as CSV; its own columns and order are kept.
    zoned : int
        How many times had no offset from UTC and were taken in the trial's zone.
    dated : int
        How many of those had no time of day and were taken as 00:00.
    """

    raw: bytes
    zoned: int
    dated: int


def parse_bags(raw: bytes, source: str, *, plan: Trial | None) -> tuple[Bag, ...]:
    """Return the bags that the bytes of a bags.csv list, one at least, in the file's order.

    Parameters
    ----------
    raw : bytes
        The file's content.
    source : str
        The file's name for messages.
    plan : Trial or None
        Its strains and treatments are those that bags may have; None allows any.

    Raises
    ------
    TrialError
        With the first few of the lines that are wrong, or when it lists no bag.
    """
    if not decode_plan_file(raw, source).strip():
        msg = f"{source}:1: is empty"
        raise TrialError(msg, f"Its first line names the columns: {', '.join(required_columns(Bag))}.")
    reading = parse_table(raw, Bag, source=source)
    found = [*reading.problems, *_find_mangled(raw, source), *_find_doubles(reading.lines, source)]
    found += _find_false_none(reading.lines, source)
    found += _find_broken_words(reading.lines, source)
    found += _find_unknown(reading.lines, source, plan) if plan else []
    raise_problems(sorted(found, key=lambda problem: int(problem.source.rpartition(":")[2])))
    if not reading.rows:
        msg = f"{source} lists no bag"
        hint = "Write a line for each bag below the columns' names, or draw bags with colscan plan."
        raise TrialError(msg, hint)
    return reading.rows


def needs_strain(bag: Bag) -> bool:
    """Return whether the plan must know the bag's strain: a blank, never spawned, may say `none`."""
    return bag.role != "blank" or bag.strain != NOTHING


def derive_strains(bags: Sequence[Bag]) -> tuple[Strain, ...]:
    """Return a strain for each code that the bags have, in their order."""
    return tuple(Strain(code=code) for code in dict.fromkeys(b.strain for b in bags if needs_strain(b)))


def derive_treatments(
    bags: Sequence[Bag], *, base: str | None = None, earlier: Sequence[Treatment] = ()
) -> tuple[Treatment, ...]:
    """Return a treatment for each supplement and level that the bags have, lowest level first.

    Parameters
    ----------
    bags : sequence of Bag
        The bags.
    base : str or None
        What the levels are percentages of; None as `earlier` has it, else the main substrate as weighed.
    earlier : sequence of Treatment
        Those of a plan at hand.

    Raises
    ------
    TrialError
        When `earlier` has several bases and lacks the level: which is meant can't be told.
    """
    supplements = list(dict.fromkeys(bag.supplement for bag in bags))
    levels = sorted({(supplements.index(bag.supplement), bag.supplement_pct) for bag in bags})
    treatments = [Treatment(supplement=supplements[i], supplement_pct=pct) for i, pct in levels]
    return tuple(dataclasses.replace(t, supplement_base=base or _base_of(t, earlier)) for t in treatments)


def _base_of(treatment: Treatment, earlier: Sequence[Treatment]) -> str:
    known = {(t.supplement, t.supplement_pct): t.supplement_base for t in earlier}
    bases = list(dict.fromkeys(t.supplement_base for t in earlier if t.supplement != NOTHING))
    same = known.get((treatment.supplement, treatment.supplement_pct))
    if same is not None or not bases:
        return same or treatment.supplement_base
    if len(bases) > 1 and treatment.supplement != NOTHING:
        msg = (
            f"{treatment.supplement} {treatment.supplement_pct:g} % is a percentage of what? The plan has "
            + (" and ".join(map(repr, bases)))
        )
        raise TrialError(msg, "Say it with --base.")
    return bases[0]


def read_aware_times(raw: bytes) -> tuple[datetime, ...]:
    """Return the inoculation times of a bag list that carry an offset; others are passed over."""
    times = [_parse_time(cell) for _, cell in _read_column(raw, "inoculated_at")]
    return tuple(t for t in times if t is not None and t.tzinfo is not None)


def own_columns(raw: bytes) -> tuple[str, ...]:
    """Return the names of a bag list's columns that are the grower's own."""
    header = [cell.strip() for record in _read_records(raw)[:1] for cell in record.cells]
    return tuple(name for name in header if name and name not in columns_of(Bag))


def complete_list(raw: bytes, zone: tzinfo) -> CompletedList:
    """Return a bag list with offsets in its times and guarded texts; the rest is kept as it is.

    Lines keep their numbers, so that messages about the result name the lines of the original.
    A list that isn't CSV comes back unchanged, for `parse_bags` to refuse.
    """
    records = _read_records(raw)
    if not records:
        return CompletedList(raw=raw, zoned=0, dated=0)
    header = [name.strip() for name in records[0].cells]
    has_commas = delimiter_of(raw.decode("utf-8-sig")) != ","  # as decimals: the result has points
    # A row with too few or too many cells keeps them, for `parse_bags` to refuse.
    body = [
        [
            _complete(name, cell, zone, has_commas=has_commas)
            for name, cell in zip(chain(header, repeat("")), record.cells, strict=False)
        ]
        for record in records[1:]
    ]
    local = [cell.strip() for _, cell in _read_column(raw, "inoculated_at") if _is_local(cell)]
    return CompletedList(
        raw=b"".join(format_record(cells) for cells in (header, *body)),
        zoned=len(local),
        dated=sum(len(text) <= _DATE_LENGTH for text in local),
    )


def _complete(name: str, cell: str, zone: tzinfo, *, has_commas: bool) -> str:
    declared = columns_of(Bag).get(name)
    if declared is None or not cell.strip() or name == "bag":
        return cell  # a bag's code is judged as it stands, not mended
    if declared.kind == "number" and has_commas:
        return with_point(cell)
    if declared.kind == "time" and _is_local(cell):
        return parse_time(cell.strip()).replace(tzinfo=zone).isoformat(timespec="seconds")
    return format_cell(declared, parse_cell(declared, cell)) if declared.kind == "text" else cell


def _is_local(cell: str) -> bool:
    time = _parse_time(cell)
    return time is not None and time.tzinfo is None


def _parse_time(cell: str) -> datetime | None:
    try:
        return parse_time(cell.strip())
    except ValueError:
        return None


def _read_records(raw: bytes) -> list[Record]:
    """Return the records of a CSV file; none when it isn't one from end to end."""
    try:
        records = list(split_records(raw.decode("utf-8-sig")))
    except UnicodeDecodeError:
        return []
    return [] if any(record.error for record in records) else records


def _read_column(raw: bytes, name: str) -> list[tuple[int, str]]:
    """Return the line and the cell, as it stands, of each record that has this column."""
    records = _read_records(raw)
    header = [cell.strip() for cell in records[0].cells] if records else []
    if name not in header:
        return []
    at = header.index(name)
    return [(record.number, record.cells[at]) for record in records[1:] if len(record.cells) > at]


def _find_mangled(raw: bytes, source: str) -> list[Problem]:
    return [
        Problem(
            source=f"{source}:{line}",
            message=f"bag code {code!r} can't be used: {why}",
            hint=f"Write {suggest_code(code)!r}, or another code with a letter first, on bag and in file.",
        )
        for line, code in _read_column(raw, "bag")
        if code.strip() and (why := explain_mangling(code))
    ]


def _find_doubles(lines: Sequence[Line[Bag]], source: str) -> list[Problem]:
    found = []
    first_code: dict[str, Line[Bag]] = {}
    first_tag: dict[int, Line[Bag]] = {}
    for line in lines:
        bag, where = line.row, f"{source}:{line.number}"
        first = first_code.setdefault(bag.bag, line)
        if first is not line:
            message = f"bag code {bag.bag!r} stands twice, on lines {first.number} and {line.number}"
            found.append(Problem(source=where, message=message, hint="Give each bag a code of its own."))
        first = first_tag.setdefault(bag.tag, line) if bag.tag is not None else line
        if first is not line:
            message = (
                f"tag {bag.tag} is on two bags, {first.row.bag} (line {first.number})"
                f" and {bag.bag} (line {line.number})"
            )
            found.append(Problem(source=where, message=message, hint="Each bag's card has a tag of its own."))
    return found


def _find_false_none(lines: Sequence[Line[Bag]], source: str) -> list[Problem]:
    return [
        Problem(
            source=f"{source}:{line.number}",
            message=f"supplement is {NOTHING!r} and supplement_pct {line.row.supplement_pct:g}",
            hint="Name the supplement, or write 0.",
        )
        for line in lines
        if line.row.supplement == NOTHING and line.row.supplement_pct != 0
    ]


def _find_broken_words(lines: Sequence[Line[Bag]], source: str) -> list[Problem]:
    return [
        Problem(
            source=f"{source}:{line.number}",
            message=f"{name} {word!r} of bag {line.row.bag} can't be used: {BREAKS_LINES}",
            hint="Write it in one line.",
        )
        for line in lines
        for name, word in (("strain", line.row.strain), ("supplement", line.row.supplement))
        if breaks_lines(word)
    ]


def _find_unknown(lines: Sequence[Line[Bag]], source: str, plan: Trial) -> list[Problem]:
    found = []
    codes = [strain.code for strain in plan.strains]
    levels = [(t.supplement, t.supplement_pct) for t in plan.treatments]
    for line in lines:
        bag, where = line.row, f"{source}:{line.number}"
        if needs_strain(bag) and bag.strain not in codes:
            message = f"strain {bag.strain!r} of bag {bag.bag} is not in trial.toml"
            hint = f"{suggest_near(bag.strain, codes)}Correct it, or add a [[strain]] with this code there."
            found.append(Problem(source=where, message=message, hint=hint))
        if (bag.supplement, bag.supplement_pct) not in levels:
            message = (
                f"treatment {bag.supplement!r} {bag.supplement_pct:g} % of bag {bag.bag} is not in trial.toml"
            )
            known = ", ".join(f"{supplement} {pct:g} %" for supplement, pct in levels) or "none yet"
            hint = f"Correct it, or add a [[treatment]] there (now: {known})."
            found.append(Problem(source=where, message=message, hint=hint))
    return found
