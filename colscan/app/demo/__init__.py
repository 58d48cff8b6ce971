"""The bundled trial "hornbeam": its plan, and six rendered shelf photos of eight bags in a cellar rack.

Where the photos are from stands in tests/fixtures/SOURCES.md.
"""

from pathlib import Path

NAME = "hornbeam"
PLAN = (Path(__file__).parent / NAME / "trial.toml", Path(__file__).parent / NAME / "bags.csv")
PHOTOS = Path(__file__).parent / "photos"
