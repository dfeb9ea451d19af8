"""Facts of the page that can be checked against what the program does elsewhere."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from arranger.conversion import convert
from arranger.engine import load_engine
from arranger.options import build_settings
from arranger.report.pages.facts import gather_facts
from arranger.song import read_song

if TYPE_CHECKING:
    from arranger.conversion import Conversion

DEMO = Path(__file__).parents[2] / "demo_songs"


@pytest.mark.parametrize("name", ["boat_parade", "lighthouse_stairs", "ferry_waltz"])
def test_the_advice_on_keys_is_what_the_setting_chooses(name: str) -> None:
    song, engine = read_song(DEMO / f"{name}.mid"), load_engine("twin-counter")
    words = {"engine": "twin-counter"}
    as_written = convert(song, engine, build_settings(words))
    chosen = convert(song, engine, build_settings({**words, "transpose": "auto"}))
    best = chosen.reduction.ledger.transpose
    assert best != 0
    advised = re.search(r"auto would choose ([+-]\d+),", gather_facts(as_written).tuning)
    assert advised is not None
    assert int(advised[1]) == best
    assert "would choose" not in gather_facts(chosen).tuning


def test_parts_are_numbered_as_people_count_them(hand: Conversion) -> None:
    parts = gather_facts(hand).parts
    assert [part.number for part in parts] == [1, 2, 3, 4]
    assert [part.notes for part in parts] == [4, 2, 1, 2]
    assert [part.role for part in parts] == ["tune", "bass", "harmony", "drums"]


def test_drums_are_counted_by_key(hand: Conversion) -> None:
    """General MIDI: 36 is Bass Drum 1, 81 Open Triangle; the ledger by hand has no sound for it."""
    kick, triangle = gather_facts(hand).drums
    assert kick == ("Bass Drum 1", "kick", 1, 1, "")
    assert triangle == ("Open Triangle", "triangle", 1, 0, "1 without a sound in the engine")
