"""The bundled trial "hornbeam": its plan, and six rendered shelf photos of eight bags in a cellar rack.

Where the photos are from stands in tests/fixtures/SOURCES.md.
"""

from pathlib import Path

NAME = "hornbeam"
PLAN = tuple(Path(__file__).parent / NAME / name for name in ("trial.toml", "bags.csv", "estimates.csv"))
"""Estimates: the coverage that the photos were rendered with stands in for a person's eye."""
PHOTOS = Path(__file__).parent / "photos"
