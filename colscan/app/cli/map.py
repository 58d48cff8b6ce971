"""`colscan map`: where the bags without a card stand."""

from __future__ import annotations

import re
from pathlib import Path

import click

from colscan.app.cli.options import check_shelf, trial_dir_argument
from colscan.app.times import photo_time
from colscan.errors import TrialError
from colscan.trial import load_trial
from colscan.trial.model import Trial
from colscan.trial.shelfmap import DEFAULT_SHELF, read_shelfmaps


@click.command(name="map")
@trial_dir_argument
@click.argument("photo", metavar="PHOTO", type=click.Path(path_type=Path))
@click.option("--accept", is_flag=True, help="The bags are those of bags.csv, in that order.")
@click.option("--set", "named", metavar="N=BAG,...", default="", help="Name bags by number.")
@click.option(
    "--add", "added", metavar="BOX", multiple=True, help="One more bag: left,top,right,bottom in px."
)
@click.option("--drop", "dropped", metavar="N,...", default="", help="Numbers that are no bags.")
@click.option("--shelf", metavar="NAME", help="The shelf in the photo.")
@click.option("--taken-at", metavar="TIME", help="When the photo was taken, like 2026-03-09T10:05.")
def map(
    trial_dir: Path,
    photo: Path,
    accept: bool,
    named: str,
    added: tuple[str, ...],
    dropped: str,
    shelf: str | None,
    taken_at: str | None,
) -> None:
    """Say which bag without a card stands where, on one photo.

    Draws the bags it sees in PHOTO, numbered from top to bottom and left to
    right, on a picture. Look at it, then accept or correct: what --drop takes
    away is numbered no more, what --add gives comes last. Later photos of the
    shelf are laid onto this one.

    \b
    Example:
      colscan map hornbeam shelf.jpg --accept
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    from colscan.app import mapping
    from colscan.photo import read_ref

    if accept and named:
        msg = "--accept and --set both name the bags."
        raise TrialError(msg, "Give --accept where they stand in the order of bags.csv, else --set.")
    trial = load_trial(trial_dir)
    place = _shelf(trial, shelf)
    # What was typed wrong is said before the photo is looked at, which takes seconds.
    said, left_out = _names(trial, named), [_number(word) for word in _words(dropped)]
    boxes = [_box(text) for text in added]
    ref = read_ref(
        photo,
        max_megapixels=trial.limits.max_photo_megapixels,
        zone=trial.zone,
        not_before=min(bag.inoculated_at for bag in trial.bags),
        taken_at=photo_time(taken_at, trial),
    )
    proposed = mapping.propose_map(ref, trial)
    proposed = mapping.with_boxes(mapping.without_numbers(proposed, left_out), boxes)
    bags = mapping.bags_to_place(trial, shelf, [bag for bag, _ in proposed.carded])
    names = mapping.accept_all(proposed, bags) if accept else said
    there = read_shelfmaps(trial_dir, bags=None)
    earlier = next((one.photo for one in there if one.shelf == place), None)
    if names:
        mapping.keep_map(trial_dir, ref, proposed, names, place)
    picture = mapping.draw_map(trial_dir, proposed, names, place)
    for number in range(1, len(proposed.outlines_px) + 1):
        click.echo(f"{number}\t{names.get(number, '-')}")
    if names:
        click.echo(f"Kept as the map of {place}; drawn on {picture}", err=True)
        if earlier is not None:
            click.echo(f"It replaces the map on {earlier}; what is scored already stays as it is.", err=True)
    else:
        click.echo(f"Look at {picture}; then --accept, or name with --set 1=BAG,2=BAG", err=True)


def _shelf(trial: Trial, shelf: str | None) -> str:
    check_shelf(trial, shelf)
    named = sorted(trial.shelf_names)
    if shelf is None and len(named) > 1:
        msg = "The trial has several shelves."
        raise TrialError(msg, f"Say with --shelf which one the photo shows: {', '.join(named)}.")
    return shelf or (named[0] if named else DEFAULT_SHELF)


def _words(text: str) -> list[str]:
    return [word.strip() for word in text.split(",") if word.strip()]


def _number(word: str) -> int:
    if not re.fullmatch("[0-9]{1,9}", word):
        msg = f"{word!r} is no number of a bag on the picture."
        raise TrialError(msg, "Give numbers as drawn, like 1 or 2,5.")
    return int(word)


def _names(trial: Trial, text: str) -> dict[int, str]:
    names: dict[int, str] = {}
    for word in _words(text):
        number, equals, code = word.partition("=")
        if not equals:
            msg = f"--set: {word!r} has no equals sign."
            raise TrialError(msg, "Give it like 1=B05,2=B06.")
        bag = trial.bag(code.strip())
        if bag is None:
            msg = f"--set: {code.strip()!r} is no bag of this trial."
            raise TrialError(msg, "Give a code as in bags.csv.")
        if bag.tag is not None:
            msg = f"--set: {bag.bag} has a card (tag {bag.tag})."
            raise TrialError(msg, "A card tells where it stands; the map is for bags without one.")
        place = _number(number.strip())
        if place in names:
            msg = f"--set: number {place} is named twice, {names[place]} and {bag.bag}."
            raise TrialError(msg, "Give each number one bag.")
        names[place] = bag.bag
    return names


def _box(text: str) -> tuple[float, float, float, float]:
    try:
        left, top, right, bottom = (float(word) for word in text.split(","))
    except ValueError as error:
        msg = f"--add: {text!r} is no box."
        raise TrialError(msg, "Give four numbers: left,top,right,bottom in pixels of the photo.") from error
    return left, top, right, bottom
