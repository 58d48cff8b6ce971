"""The words that mark doubtful data, each with its meaning and what to do: one table for code and docs."""

from __future__ import annotations

from enum import StrEnum


class Flag(StrEnum):
    """A word in the `flags` or `problems` column of a row.

    Attributes
    ----------
    meaning : str
        What was seen, in a sentence.
    remedy : str
        What the grower can do about it; empty where nothing needs doing.
    """

    meaning: str
    remedy: str

    def __new__(cls, word: str, meaning: str, remedy: str) -> Flag:
        """Make a member whose value is the word alone."""
        member = str.__new__(cls, word)
        member._value_ = word
        member.meaning = meaning
        member.remedy = remedy
        return member

    # about time
    ZONE_ASSUMED = (
        "zone-assumed",
        "The photo says when it was taken but not in which time zone; the trial's zone was used.",
        "Set the phone's clock and zone, or give --taken-at.",
    )
    TIME_FROM_NAME = (
        "time-from-name",
        "The photo carries no date; the date in its file name was used.",
        "Send the original file rather than a messenger's copy, or give --taken-at.",
    )
    TIME_FROM_FILE = (
        "time-from-file",
        "The photo carries no date; the time the file was last changed was used.",
        "Send the original file rather than a messenger's copy, or give --taken-at.",
    )
    TIME_AHEAD = (
        "time-ahead",
        "The photo is dated more than a day later than this computer's clock.",
        "Set the clocks of phone and computer; give the right time with --taken-at.",
    )
    CLOCK_CHANGE = (
        "clock-change",
        "Taken in the hour in which the clocks change, and without an offset; it may be an hour off.",
        "Give the right time with --taken-at, with its offset.",
    )
    # about the photo and the light
    TAG_TWICE = (
        "tag-twice",
        "A tag stands twice in the photo, so it can't be told which bag is whose; neither was scored.",
        "Cover or remove one of the two cards and photograph again.",
    )
    CARD_AND_PLACE_DISAGREE = (
        "card-and-place-disagree",
        "Its card says one bag, its place on the shelf map another; the card counts.",
        "Put the bag back, or make the map again with colscan map.",
    )
    PLACE_DOUBT = (
        "place-doubt",
        "A bag without a card stands here that doesn't look like the one on the shelf map; not measured.",
        "Put the bags back in their places, or make the map again with colscan map.",
    )
    OTHER_CAMERA = (
        "other-camera",
        "Taken with another camera than the photo before; its colours may differ.",
        "Stay with one phone and one lens for a trial.",
    )
    NIGHT_MODE = (
        "night-mode",
        "Taken in the camera's night mode, which brightens and smooths; thin growth may be lost in it.",
        "Switch the lamp on and the night mode off.",
    )
    HDR_MODE = (
        "hdr-mode",
        "Put together from several exposures (HDR), so light and dark places can't be compared exactly.",
        "Switch HDR off for the trial's photos.",
    )
    NO_REFERENCE = (
        "no-reference",
        "No card's paper could be read near the bag, so exposure and colour cast are not known.",
        "Show the card flat and unshaded.",
    )
    REFERENCE_CLIPPED = (
        "reference-clipped",
        "The card's paper, or the patch in its stead, is burnt out: exposure and cast are only partly known.",
        "Expose a little darker: tap on the bags and pull the brightness down.",
    )
    BLURRED = (
        "blurred",
        "The bag is out of focus or moved.",
        "Photograph it again: hold still, tap on the bag to focus.",
    )
    COARSE_COLOUR = (
        "coarse-colour",
        "The file was made so small that its colours are off by blocks; coverage is less sure, and only "
        "strong colours are reported as suspect patches.",
        "From now on send the original file rather than a messenger's copy.",
    )
    # about what can be seen of the bag
    GLARE = (
        "glare",
        "Reflections hide more than a tenth of the face.",
        "Photograph it again from a step to the side, with the light from the side.",
    )
    PART_HIDDEN = (
        "part-hidden",
        "More than a third of the face is hidden by the card, a neighbour, a wire or reflections.",
        "Photograph it again with a free view of the face.",
    )
    CUT_OFF = (
        "cut-off",
        "The bag is cut by the edge of the photo.",
        "Photograph it again with the whole bag in view.",
    )
    TOO_SMALL = (
        "too-small",
        "The bag is so small in the photo that small spots can't be seen.",
        "Photograph it again from nearer.",
    )
    FACE_UNSURE = (
        "face-unsure",
        "The bag's outline could not be told from what is behind it; a rectangle below the card was used.",
        "Look at the outline; a plain, lighter or darker background helps.",
    )
    UNMEASURED = (
        "unmeasured",
        "Too little of the face can be seen to measure it.",
        "Photograph it again with a free view of the face.",
    )
    # about the baseline
    NO_BASELINE = (
        "no-baseline",
        "No usable first photo of this bag; its looks were guessed from this photo, so the interval is wide.",
        "Photograph every bag on the day it is spawned.",
    )
    LATE_BASELINE = (
        "late-baseline",
        "No photo from the first 36 hours; how much had grown by the earliest one is guessed from its looks.",
        "Photograph every bag on the day it is spawned.",
    )
    # about what changed
    FELL = (
        "fell",
        "Coverage is more than 15 points lower than the photo before, and no event explains it.",
        "Was the bag shaken, turned, opened or swapped? Record it with `colscan event`.",
    )
    # about a suspect patch
    EXPECTED = (
        "expected",
        "A look that the strain is said to show when well (healthy_looks): noted, no alarm.",
        "",
    )


RETAKE = frozenset(
    {
        Flag.REFERENCE_CLIPPED,
        Flag.BLURRED,
        Flag.GLARE,
        Flag.PART_HIDDEN,
        Flag.CUT_OFF,
        Flag.TOO_SMALL,
        Flag.UNMEASURED,
    }
)
"""Flags that another photo, taken at once, would mend."""
