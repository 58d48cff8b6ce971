"""Photos of a farm: each is offered to the trials whose bags' cards it shows, and scored by each on its own.

A photo is looked at once for its cards; after that every trial scans its photos as if it were alone, so
that a farm's scores are to the last digit those of its trials scanned one by one.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from colscan.app.batch.jobs import Failure, FileJob, or_failure, run_in_order, worker_pool
from colscan.app.batch.outcomes import Outcome, Rejected
from colscan.app.batch.scan import ScanOptions, scan_photos
from colscan.errors import ColscanError, PhotoError
from colscan.locate import find_cards
from colscan.photo import PhotoRef, read_ref
from colscan.trial import FarmTrial
from colscan.trial.model import LAST_BAG_TAG, PLAN_FILE, Bag, Trial

Farm = Sequence[tuple[FarmTrial, ScanOptions]]
"""The trials of a farm, and how each is scanned."""


Refusal = tuple[FarmTrial | None, Rejected]


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """The photos that one trial of a farm scans, and how.

    Parameters
    ----------
    of : FarmTrial
        The trial.
    paths : tuple of Path
        Photos that show cards of its bags.
    options : ScanOptions
        How; with the tags that are scored elsewhere.
    """

    of: FarmTrial
    paths: tuple[Path, ...]
    options: ScanOptions


@dataclass(frozen=True, slots=True, kw_only=True)
class Offers:
    """What becomes of a farm's photos: those refused (by one trial, or by all: None), and each trial's."""

    refused: tuple[Refusal, ...]
    offers: tuple[Offer, ...]

    @property
    def total(self) -> int:
        """How many outcomes there will be: a photo counts once in each trial that takes it."""
        return len(self.refused) + sum(len(offer.paths) for offer in self.offers)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Look(FileJob):
    path: Path
    max_megapixels: float

    @property
    def file(self) -> Path:
        return self.path


@dataclass(frozen=True, slots=True, kw_only=True)
class _Shown:
    path: Path
    tags: frozenset[int]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Taker:
    """A trial that a photo is for: its place in the farm, what it calls the photo, its bags in it."""

    place: int
    ref: PhotoRef
    bags: tuple[Bag, ...]


def offer_photos(farm: Farm, paths: Sequence[Path], *, jobs: int, cluster: str | None = None) -> Offers:
    """Each trial's photos: those that show a card of one of its bags while the trial runs.

    Parameters
    ----------
    farm : sequence of (FarmTrial, ScanOptions)
        The trials, and how each is scanned.
    paths : sequence of Path
        Photo files.
    jobs : int
        How many processes look for cards.
    cluster : str, optional
        The address of a cluster's scheduler, whose processes look instead.

    Raises
    ------
    ClusterError
        When the cluster can't be used, or is lost.
    """
    # A trial with a lower limit of its own refuses a larger photo itself.
    limit = max(member.trial.limits.max_photo_megapixels for member, _ in farm)
    refused: list[Refusal] = []
    taken: list[list[Path]] = [[] for _ in farm]
    elsewhere: list[dict[str, frozenset[int]]] = [{} for _ in farm]
    looks = [_Look(path=path, max_megapixels=limit) for path in paths]
    with worker_pool(min(jobs, len(looks)), cluster) as pool:
        for path, shown in zip(paths, run_in_order(pool, look_for_cards, looks), strict=True):
            if isinstance(shown, Failure):
                refused.append((None, Rejected(name=shown.name, error=shown.error)))
                continue
            takers, not_used = _takers(farm, shown)
            refused += not_used
            for taker in takers:
                taken[taker.place].append(path)
                others = (bag.tag for other in takers if other is not taker for bag in other.bags)
                elsewhere[taker.place][taker.ref.sha256] = frozenset(tag for tag in others if tag is not None)
    offers = (
        Offer(of=member, paths=tuple(photos), options=replace(options, elsewhere=tags))
        for (member, options), photos, tags in zip(farm, taken, elsewhere, strict=True)
    )
    return Offers(refused=tuple(refused), offers=tuple(offer for offer in offers if offer.paths))


def scan_farm(offers: Offers) -> Iterator[tuple[FarmTrial | None, Outcome]]:
    """What became of each photo in each trial that takes it, as it happens; first those that none takes.

    Parameters
    ----------
    offers : Offers
        As `offer_photos` gives them.

    Raises
    ------
    LedgerError
        When a trial's ledger can't be read or written; photos recorded before stay.
    """
    yield from offers.refused
    for offer in offers.offers:
        for outcome in scan_photos(offer.of.folder, offer.of.trial, offer.paths, offer.options):
            yield offer.of, outcome


def look_for_cards(look: _Look) -> _Shown | Failure:
    """The tags of the bags' cards in a photo, or why it can't be looked at."""
    return or_failure(look.path.name, lambda: _shown(look))


def _shown(look: _Look) -> _Shown:
    cards = find_cards(look.pixels(look.max_megapixels))
    return _Shown(path=look.path, tags=frozenset(card.tag for card in cards if card.tag <= LAST_BAG_TAG))


def _takers(farm: Farm, shown: _Shown) -> tuple[list[_Taker], list[Refusal]]:
    """The trials that a photo is for; and who refuses it and why, if none takes it or one can't."""
    takers: list[_Taker] = []
    early: list[_Taker] = []
    ended: list[PhotoError] = []
    unusable: list[Refusal] = []
    for place, (member, options) in enumerate(farm):
        bags = tuple(bag for bag in member.trial.bags if bag.tag in shown.tags)
        if not bags:
            continue
        try:
            ref = _ref(member.trial, shown.path, options)
        except PhotoError as error:
            unusable.append((member, Rejected(name=shown.path.name, error=error)))
            continue
        if member.trial.ended_at is not None and ref.taken_at > member.trial.ended_at:
            ended.append(_after_the_end(member, ref, member.trial.ended_at))
            continue
        # A tag may have been another trial's before.
        begun = any(bag.inoculated_at <= ref.taken_at for bag in bags)
        (takers if begun else early).append(_Taker(place=place, ref=ref, bags=bags))
    clash = _clash([member for member, _ in farm], takers, shown.path.name)
    if clash is not None:
        return _refused(shown, clash)
    if takers:
        return takers, unusable
    if unusable:
        return _refused(shown, unusable[0][1].error)
    if early and not ended:
        return early, []  # their scan says that it is too early
    return _refused(shown, ended[0] if ended else _nothing_shown(shown))


def _refused(shown: _Shown, error: ColscanError) -> tuple[list[_Taker], list[Refusal]]:
    return [], [(None, Rejected(name=shown.path.name, error=error))]


def _ref(trial: Trial, path: Path, options: ScanOptions) -> PhotoRef:
    return read_ref(
        path,
        max_megapixels=trial.limits.max_photo_megapixels,
        zone=trial.zone,
        not_before=min(bag.inoculated_at for bag in trial.bags),
        taken_at=options.taken_at,
    )


def _after_the_end(member: FarmTrial, ref: PhotoRef, ended_at: datetime) -> PhotoError:
    taken, ended = (f"{at.astimezone(member.trial.zone):%Y-%m-%d %H:%M}" for at in (ref.taken_at, ended_at))
    msg = f"{ref.name}: was taken {taken}, and its bags are of {member.name}, which ended {ended}."
    return PhotoError(msg, f"If that trial goes on, take ended_at out of {member.folder / PLAN_FILE}.")


def _clash(trials: Sequence[FarmTrial], takers: Sequence[_Taker], name: str) -> PhotoError | None:
    """A card that two running trials give to different bags: whose face it is on, nobody can tell.

    The same code, tag and day 0 in both is one bag in two trials.
    """
    owners: dict[int | None, tuple[FarmTrial, Bag]] = {}
    for taker in takers:
        for bag in taker.bags:
            first, other = owners.setdefault(bag.tag, (trials[taker.place], bag))
            if (other.bag, other.inoculated_at) != (bag.bag, bag.inoculated_at):
                both = f"bag {other.bag} of {first.name} and bag {bag.bag} of {trials[taker.place].name}"
                msg = f"{name}: tag {bag.tag} is {both}."
                return PhotoError(
                    msg, "Give one of them another card, or set ended_at in the trial that is over."
                )
    return None


def _nothing_shown(shown: _Shown) -> PhotoError:
    if shown.tags:
        tags = ", ".join(f"tag {tag}" for tag in sorted(shown.tags))
        msg = f"{shown.path.name}: none of its cards is of a trial in this folder ({tags})."
        return PhotoError(msg, "Begin a trial with these bags, or correct bags.csv.")
    msg = f"{shown.path.name}: no card was found in it."
    return PhotoError(msg, "Go nearer until a tag is at least 30 px wide; check that the cards are in view.")
