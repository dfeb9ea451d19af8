"""What the tests of the reduction share."""

from __future__ import annotations

from pathlib import Path

import pytest

from arranger.reduce.tell import told


@pytest.fixture
def demo_song() -> Path:
    """Return a song for a band with drums."""
    return Path(__file__).parents[2] / "demo_songs" / "boat_parade.mid"


@pytest.fixture(params=["compiled", "python"])
def either_account(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Have notes accounted for by what is compiled, then by what stands in for that."""
    if request.param == "python":
        monkeypatch.setattr(told, "_compiled", None)
