"""Real colour cards under another light come nearer to the target once balanced by their neutral chips."""

from pathlib import Path

import neutral_cards
import pytest


@pytest.mark.parametrize("name", ["source1_img.png", "source2_img.png"])
def test_balancing_brings_chips_nearer(name: str, real_photos: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The mean CIEDE2000 to the target's chips falls."""
    monkeypatch.setattr(neutral_cards, "FOLDER", real_photos / "neutral-cards" / "tests" / "testdata")
    before, after = neutral_cards.compare(name)
    assert after < before
