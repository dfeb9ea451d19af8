"""A routine that a musician describes is arranged for, heard and exported like a built-in one."""

from __future__ import annotations

import json
from math import log2

import numpy as np
import pytest

from arranger.engine import Engine, parse_engine
from arranger.errors import SettingsError
from arranger.machine.export_options import ExportOptions
from arranger.machine.exporters import export
from arranger.rows import HOLD, REST
from arranger.sound import samples
from tests.sound.measure import RATE, measured_hz
from tests.sound.sheets import sheet_of

HEAD = """\
format = "arranger-engine"
version = 1
name = "mine"
title = "A routine of my own"
"""
TAIL = """
[memory]
code_bytes = 90
total_bytes = 8000
[[drum]]
name = "thud"
kind = "kick"
percussion_keys = [35, 36]
weight = 1.0
settings = [3000, 500]
cycles = 60_000
"""
OWN = {
    "phase": """
method = "phase"
clock_hz = 4_000_000
[loop]
cycles = 200
voice1_write = 20
voice2_write = 90
[pitch]
lowest = "C3"
highest = "C5"
bits = 12
[steps]
counts = [2500, 5000, 20000]
overhead_cycles = 170
""",
    "counter": """
method = "counter"
clock_hz = 1_773_400
[loop]
cycles = 81
[pitch.table]
A3 = 50
A4 = 25
E4 = 33
[steps]
first = 20
last = 100
passes_per_count = 256
""",
    "alternate": """
method = "alternate"
clock_hz = 1_000_000
drum_takes_step = true
[loop]
cycles = 500
turn = 20
[pitch]
lowest = "A3"
highest = "A5"
[steps]
counts = [200, 400, 2000]
""",
    "frequencies": """
method = "frequencies"
clock_hz = 8_000_000
[loop]
cycles = 400
[pitch.table]
A3 = 219.1
"C#4" = 278.0
A4 = 441.0
[steps]
counts = [4000, 20000]
""",
}


@pytest.fixture(params=OWN)
def engine(request: pytest.FixtureRequest) -> Engine:
    """Return an engine; the method's keys stand before the first table."""
    return parse_engine(HEAD + OWN[request.param] + TAIL)


def test_every_pitch_sounds_as_its_table_says(engine: Engine) -> None:
    length = engine.step_lengths[-1]
    pitches = list(engine.pitches.values())
    sheet = sheet_of(engine, [pitch.midi for pitch in pitches], length=length.setting)
    sound = np.concatenate(list(samples(sheet, engine, sample_rate=RATE)))
    for index, pitch in enumerate(pitches):
        begin = round((index + 0.05) * length.seconds * RATE)
        end = round((index + 0.95) * length.seconds * RATE)
        cents = 1200 * log2(measured_hz(sound[begin:end], pitch.frequency_hz) / pitch.frequency_hz)
        assert cents == pytest.approx(0.0, abs=1.0), pitch


def test_a_drum_is_heard_and_silences_the_step(engine: Engine) -> None:
    a3 = 57
    length = engine.step_lengths[-1]
    sheet = sheet_of(engine, [a3, HOLD], [REST, REST], ["thud", None], length=length.setting)
    sound = np.concatenate(list(samples(sheet, engine, sample_rate=RATE)))
    drum_end = round(60_000 / engine.clock_hz * RATE)
    step = round(length.seconds * RATE)

    def loudness(part: np.ndarray) -> float:
        return float(np.std(part))

    assert loudness(sound[:drum_end]) > 0.03
    # The leak of the pin's resting level (10 Hz) has died away in the second half of the step.
    assert loudness(sound[step // 2 + drum_end : step - 50]) < 0.01
    assert loudness(sound[step + 50 : 2 * step]) > 0.03


def test_its_data_can_be_exported(engine: Engine) -> None:
    sheet = sheet_of(engine, [57, HOLD, REST], [REST, 57, 57], ["thud", None, None])
    options = ExportOptions()
    steps = json.loads(export(sheet, engine, "json", options))["steps"]
    assert [step["voice1"] for step in steps] == [None, 57, None]
    assert b"mine" in export(sheet, engine, "c", options)
    assert export(sheet, engine, "data", options)


def test_a_routine_elsewhere_has_no_player_here() -> None:
    engine = parse_engine(HEAD + OWN["counter"] + TAIL)
    with pytest.raises(SettingsError, match="or export data, json or c"):
        export(sheet_of(engine, [57]), engine, "binary", ExportOptions())
