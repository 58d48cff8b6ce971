"""The hand-written parts of docs/formats.md and docs/commands.md: what stands in no table of the code."""

from __future__ import annotations

from colscan.app.masks import FOLDER as MASKS_FOLDER
from colscan.errors import ExitCode
from colscan.ledger.columns import SHORT_SHA, PhotoRow, ScoreRow, SuspectRow
from colscan.ledger.files import LOCK_FILE, SCAN_LOCK_FILE
from colscan.ledger.waiting import FOLDER as WAITING
from colscan.trial.bagcodes import explain_mangling, suggest_code
from colscan.trial.model import PLAN_FILE, Bag
from colscan.trial.shelfmap import MAP_FILE

MANGLED = ("7", "007", "3-4", "1/2", "MAR1", "1E2", "10:30", "TRUE", "#N/A", "=B1", "'B1", " B1")
CODES = """### Bag codes that are refused
A code that a spreadsheet would turn into something else is refused, and the message says one that stays:

| code | why | say |
|---|---|---|
"""
CODES_FOOT = """
So are a code with a line break or another character that can't be seen, an empty one, and one that stands
twice.
"""
MASKS = f"""## {MASKS_FOLDER}/
`{MASKS_FOLDER}/PHOTO-BAG.png`: what a person painted as covered on one bag in one photo, for `colscan agree`.
PHOTO is the first {SHORT_SHA} letters of the photo's SHA-256, those of its name under `photos/`; BAG the
bag's code. The PNG has the size of the upright photo, or is smaller in its shape. Only what lies within the
face's outline of scores.csv counts: white is covered, red is hidden (card, glare) and left out, black or
transparent is bare. Paint on a layer of its own and save that layer alone; a photo that is painted over
is refused. The second opinion of `colscan review` keeps its paintings there; one that was there before is put
into `masks/replaced/`, which doesn't count.
"""
WAITING_FILES = f"""## {WAITING}/
`{WAITING}/NNNNNN.json`: rows that could not be appended, as another program held one of their files (as a
spreadsheet does on Windows): `held`, the name of that file, and `tables`, by file, header and rows as CSV.
They count, and `status`, the pages of `review` and the command that kept them there say so; `check` lists
them. The next command that writes appends them, in order, and takes them out of the folder. They stand
nowhere else: unlike `cache/`, the folder isn't to be deleted.
"""
OTHER_FILES = f"""## Other files of a trial
| name | what it is |
|---|---|
| `photos/YYYY-MM-DDTHHMMSS-SHA.EXT` | A photo as it was given. The time is `taken_at`, SHA the first \
{SHORT_SHA} letters of its `photo_sha256`, EXT the given suffix in small letters. |
| `overlays/YYYY-MM-DDTHHMMSS-SHA.jpg` | The same photo with what was found drawn on it, by `scan \
--overlay`. |
| `overlays/map-SHELF.jpg` | The bags that `map` proposes on a shelf's photo, numbered. |
| `cache/` | What makes things quick. It may be deleted at any time, and is made again. |
| `{LOCK_FILE}` | What writers of the ledger wait for. It is empty and stays; it is no obstacle when \
nobody writes. |
| `{SCAN_LOCK_FILE}` | The same for scans: one at a time measures photos of a trial. |
| `{PLAN_FILE.replace(".", ".before-N.")}`, `{Bag.FILE.replace(".", ".before-N.")}`, \
`{MAP_FILE.replace(".", ".before-N.")}` | What `plan` replaced, as it was; N is the first free number. No \
command reads them. |
| `.NAME.part`, `NAME.part`, `.NAME.tmp` | Half-written, of a command that runs or was killed; the next \
scan takes old `.part` files away. |

### Order of writing
Of a photo first its original goes into `photos/`, then, under the lock, its rows into {SuspectRow.FILE},
{ScoreRow.FILE} and {PhotoRow.FILE}, in this order. The row in {PhotoRow.FILE} is the commit mark: rows of a
photo without one are ignored by readers and dropped by the next scan.
"""
DEFINITIONS = """## Words
| word | what it means | on screens |
|---|---|---|
| face | All of the block that the camera sees through the film: front, sides and top as far as they show, \
hidden places included; not the empty upper bag. | side in view |
| unseen | The part of the face that the photo doesn't show: under card, filter patch, wires and \
neighbours, which is left out of coverage, and under reflections and in deep shade. The interval holds \
what it may hide. | hidden |
| full | Coverage at or over `full_coverage_pct`, its interval's low end over `ready_coverage_pct`, in two \
photos running since the bag was last shaken or turned; the time is that of the first. Patches called \
harmless, and healthy looks that nobody doubts, count as covered. | full |
| ready | Full, then the strain's `consolidate_days`, and somebody looked all round (`looked-round`) since \
it was full. | ready; before: turn |
| stalled | The interval's high end is below the median of its siblings (sound bags of the same strain and \
treatment) at its age, and it gained under `stalled_points_per_day` over `stalled_days` or more. | stalled \
|
| onset | When a patch came: later than the last measured photo without it, at the latest in the first with \
it; never the day of a verdict. Expected looks that nobody doubts, and patches called harmless, have none. | |
| lost | Called contaminated, since the onset of the patch; a bag that is called so as a whole, since that \
of its first patch, if that had come by then. What no photo shows, or none any more, came at any time up to \
when it was first called so. | lost |
"""
EXITS = {
    ExitCode.DONE: f"done; also when rows are kept in `{WAITING}/`, which is said",
    ExitCode.CRASH: "a crash: a fault of colscan, please report it",
    ExitCode.TRIAL: "trial.toml, bags.csv or an option is wrong; nothing was written",
    ExitCode.PHOTO: "no photo could be used; nothing was written",
    ExitCode.LEDGER: "the ledger can't be read or written, or `check` found problems; nothing is torn",
    ExitCode.SOME_PHOTOS_FAILED: "some photos could not be used, the others are recorded",
    ExitCode.ANALYSIS: "the data don't carry the answer asked for",
    ExitCode.INTERRUPTED: "stopped by ctrl-C; whole photos are recorded, run it again to finish",
}
INPUTS: tuple[tuple[str, ExitCode, str], ...] = (
    ("no such file; a folder or pattern without photos", ExitCode.PHOTO, "nothing"),
    (
        "only photos that can't be read (a text called .jpg, cut short, over `max_photo_megapixels`)",
        ExitCode.PHOTO,
        "nothing",
    ),
    (
        "some photos that can't be read, or in which no bag is found",
        ExitCode.SOME_PHOTOS_FAILED,
        "the others",
    ),
    (
        "taken before a bag was inoculated, or at no known time and without --taken-at",
        ExitCode.PHOTO,
        "nothing of that photo; with others it ends with 5, and they are recorded",
    ),
    (
        "a photo that was scanned before",
        ExitCode.DONE,
        "nothing; it is passed over (an original that is gone from `photos/` is put back)",
    ),
    ("a tag that is no bag of this trial (of a sibling trial: named)", ExitCode.DONE, "the other bags; said"),
    ("the same tag twice in a photo", ExitCode.DONE, "the other bags; flag `tag-twice`"),
    (
        "a slip in trial.toml or bags.csv: an unknown key, two bags with one tag, a code that is refused, a"
        " required column that is missing",
        ExitCode.TRIAL,
        "nothing",
    ),
    ("an option that is unknown, or can't be used so", ExitCode.TRIAL, "nothing"),
    (
        "a folder that can't be written, a full disk, a ledger broken by hand (file and line are said)",
        ExitCode.LEDGER,
        "what was recorded before; nothing torn",
    ),
    (
        "a file of the ledger that another program holds",
        ExitCode.DONE,
        f"the rows, into `{WAITING}/`; said",
    ),
    ("too few data for what is asked", ExitCode.ANALYSIS, "nothing"),
    ("ctrl-C", ExitCode.INTERRUPTED, "whole photos"),
)
ENVIRONMENT = """## Environment
| variable | what it does |
|---|---|
| `COLSCAN_TRACEBACK` | Set to anything, a fault in colscan itself is shown with its traceback, for a \
report. |
| `NO_COLOR` | Set to anything, tables on a terminal have no bold letters \
([no-color.org](https://no-color.org)); so with `TERM=dumb`. |
| `COLUMNS` | How wide tables may be on a terminal, where it isn't the terminal's own width. |
"""


def codes() -> str:
    """The codes that are refused, with why and what is suggested, as the code says it."""
    rows = [f"| `{code}` | {explain_mangling(code)} | `{suggest_code(code)}` |" for code in MANGLED]
    return CODES + "\n".join(rows) + "\n" + CODES_FOOT


def exits() -> str:
    """The exit codes, and what input ends with which."""
    listed = "\n".join(f"| {code.value} | {EXITS[code]} |" for code in ExitCode)
    inputs = "\n".join(f"| {what} | {code.value} | {written} |" for what, code, written in INPUTS)
    return (
        f"## Exit codes\n| code | |\n|---|---|\n{listed}\n\n"
        f"| input | code | what is written |\n|---|---|---|\n{inputs}\n"
    )
