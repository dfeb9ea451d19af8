"""Conversions that the report's tests share."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from arranger.conversion import convert
from arranger.engine import load_engine
from arranger.settings import Settings
from arranger.song import read_song
from tests.report import handmade

if TYPE_CHECKING:
    from arranger.conversion import Conversion

DEMO_SONGS = Path(__file__).parents[2] / "demo_songs"


@pytest.fixture
def hand() -> Conversion:
    """Return the conversion that is worked out on paper."""
    return handmade.conversion()


@pytest.fixture(scope="session")
def parade() -> Conversion:
    """Convert a full band with drums."""
    return converted("boat_parade.mid")


@pytest.fixture(scope="session")
def waltz() -> Conversion:
    """Convert a waltz with triplets."""
    return converted("ferry_waltz.mid")


def converted(name: str) -> Conversion:
    """Return the conversion of a demo song by the defaults."""
    song = read_song(DEMO_SONGS / name)
    return convert(song, load_engine("twin-phase"), Settings())
