"""Names and numbers of General MIDI, as far as its printed tables are known by heart."""

from __future__ import annotations

import pytest

from arranger.errors import UsageError
from arranger.song.general_midi import (
    PERCUSSION_CHANNEL,
    PERCUSSION_NAMES,
    PROGRAM_NAMES,
    percussion_key,
    percussion_name,
)


def test_tables_begin_and_end_where_the_standard_does() -> None:
    assert len(PROGRAM_NAMES) == 128
    assert (PROGRAM_NAMES[0], PROGRAM_NAMES[127]) == ("Acoustic Grand Piano", "Gunshot")
    assert [*PERCUSSION_NAMES] == [*range(35, 82)]
    assert PERCUSSION_NAMES[36] == "Bass Drum 1"
    assert [percussion_name(key) for key in (34, 35, 81, 82)] == [
        "key 34", "Acoustic Bass Drum", "Open Triangle", "key 82",
    ]  # fmt: skip
    assert PERCUSSION_CHANNEL + 1 == 10


def test_a_key_is_a_number_of_seven_bits_or_a_name() -> None:
    for text, key in (("0", 0), ("127", 127), ("007", 7), ("COWBELL", 56)):
        assert percussion_key(text) == key
    for text in ("128", "0056", "-1", "\u0663", "", "bell"):
        with pytest.raises(UsageError, match="is no drum of General MIDI"):
            percussion_key(text)
