"""What the tests of the reduction share."""

from __future__ import annotations

from pathlib import Path

import pytest


@pytest.fixture
def demo_song() -> Path:
    """Return a song for a band with drums."""
    return Path(__file__).parents[2] / "demo_songs" / "boat_parade.mid"
