"""The timer of ``pc-alternate`` against its data sheet and its crystal.

Sources: data sheet 231164 of the 8254 programmable interval timer, mode 3 (from memory: its text on
odd and even counts and on new counts, and the waveforms drawn for counts of 4 and 5). The board's
crystal has four times the NTSC colour subcarrier of 315 / 88 MHz (SMPTE 170M); the timer gets a
twelfth of it.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from arranger.engine import load_engine
from arranger.sound.alternate import EVERYBODY, DivisorRun, pin_blocks


def waveform(runs: list[DivisorRun], clocks: int) -> str:
    """Return the output clock by clock, "H" or "L", for runs in ticks of one clock."""
    level, found = 0, ""
    for _until, (side,) in pin_blocks(runs, 1, (EVERYBODY,)):
        for time, value in zip(side.times.tolist(), side.levels.tolist(), strict=True):
            found += "LH"[level] * (time - len(found))
            level = value
    return (found + "LH"[level] * clocks)[:clocks]


def test_the_clock_is_a_third_of_the_colour_subcarrier() -> None:
    crystal = 4 * Fraction(315_000_000, 88)
    assert load_engine("pc-alternate").clock_hz == round(crystal / 12) == 1_193_182


@pytest.mark.parametrize(
    ("count", "expected"),
    [
        (4, "HHLLHHLLHHLLHHLL"),  # even: N / 2 and N / 2
        (5, "HHHLLHHHLLHHHLLH"),  # odd: (N + 1) / 2 high, (N - 1) / 2 low
        (2, "HLHLHLHLHLHLHLHL"),  # the smallest count of mode 3
    ],
)
def test_mode_3_is_the_square_wave_of_the_data_sheet(count: int, expected: str) -> None:
    assert waveform([DivisorRun(16, count, 1)], 16) == expected


@pytest.mark.parametrize(
    ("written_at", "expected"),
    [
        # "Otherwise the new count will be loaded at the end of the current half-cycle."
        (1, "HHHHLLHHLLHH"),
        (3, "HHHHLLHHLLHH"),
        (5, "HHHHLLLLHHLL"),
    ],
)
def test_a_new_count_waits_for_the_end_of_the_half_cycle(written_at: int, expected: str) -> None:
    assert (
        waveform([DivisorRun(written_at, 8, 1), DivisorRun(12 - written_at, 4, 2)], 12) == expected
    )


def test_silence_hides_the_output_and_the_timer_counts_on() -> None:
    assert (
        waveform([DivisorRun(5, 6, 1), DivisorRun(4, 0, 0), DivisorRun(6, 6, 1)], 15)
        == "HHHLLLLLLLLLHHH"
    )
