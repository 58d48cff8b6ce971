"""Measure mycelium on bags of mushroom substrate from shelf photos, and keep the scores."""

__version__ = "0.1.0"
