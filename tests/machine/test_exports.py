from __future__ import annotations

import json
import re
import struct
from dataclasses import replace
from importlib import resources
from typing import TYPE_CHECKING, Any

import jsonschema
import numpy as np
import pytest
from hypothesis import given, settings

from arranger.engine import load_engine
from arranger.engine.model import DrumSound
from arranger.engine.profile import DrumPart
from arranger.errors import SettingsError, SheetError
from arranger.machine.c_export import identifier
from arranger.machine.export_options import ExportOptions
from arranger.machine.exporters import EXPORTERS, export, find_exporter
from arranger.rows import HOLD, REST, tones
from arranger.sound import edges
from tests.sound.sheets import sheet_of, sheets

if TYPE_CHECKING:
    from arranger.sheet.model import Sheet

PHASE = load_engine("twin-phase")
ALTERNATE = load_engine("pc-alternate")
PIECE = sheet_of(
    PHASE,
    [69, HOLD, HOLD, REST, 72, HOLD],
    [45, HOLD, 45, HOLD, REST, HOLD],
    ["kick", None, "hat", None, None, None],
    title="Tide */ table? \\ 7",
    loop_step=2,
)


def exported(sheet: Sheet, name: str, engine: Any = PHASE) -> bytes:
    return export(sheet, engine, name, ExportOptions())


def test_json_says_what_sounds() -> None:
    values = json.loads(exported(PIECE, "json", replace(PHASE, drum_takes_step=True)))
    assert [drum["seconds"] for drum in values["drums"]] == [values["step_seconds"]] * 2
    assert values["steps"] == [
        {"voice1": None, "voice2": None, "drum": "kick"},  # a drum takes the step whole
        {"voice1": 69, "voice2": 45, "drum": None},
        {"voice1": None, "voice2": None, "drum": "hat"},
        {"voice1": None, "voice2": 45, "drum": None},
        {"voice1": 72, "voice2": None, "drum": None},
        {"voice1": 72, "voice2": None, "drum": None},
    ]
    assert values["step_beats"] == "1/4"
    assert values["loop_step"] == 2
    assert values["step_seconds"] == pytest.approx(values["step_cycles"] / 3_500_000)
    assert [pitch["name"] for pitch in values["pitches"]] == ["A2", "A4", "C5"]


def test_json_keeps_the_tones_after_a_drum() -> None:
    piece = replace(PIECE, length=24)  # a kick is longer than three quarters of it
    values = json.loads(exported(piece, "json", ALTERNATE))
    assert values["steps"][0] == {"voice1": 69, "voice2": 45, "drum": "kick"}
    assert values["drums"][0]["seconds"] == pytest.approx(18 * 1243 / 1_193_182)
    kick, *others = ALTERNATE.drums
    to_the_end = kick._replace(parts=(kick.parts[0]._replace(cycles=0),))
    engine = replace(ALTERNATE, drums=(to_the_end, *others))
    values = json.loads(exported(piece, "json", engine))
    assert values["steps"][0] == {"voice1": None, "voice2": None, "drum": "kick"}
    assert values["steps"][2] == {"voice1": 69, "voice2": 45, "drum": "hat"}
    assert [drum["name"] for drum in values["drums"]] == ["kick", "hat"]
    assert values["drums"][0]["seconds"] == values["step_seconds"]


@pytest.mark.parametrize("name", ["twin-phase", "twin-counter", "pc-alternate"])
def test_json_has_the_seconds_in_which_no_voice_is_computed(name: str) -> None:
    engine = load_engine(name)
    setting = engine.nearest_step_length(0.25).setting
    kick = engine.drums[0]
    noise = next(drum for drum in engine.drums if drum.parts[0].kind == "noise")
    joint = kick._replace(name="two", parts=(*kick.parts, *noise.parts))
    engine = replace(engine, drums=(kick, joint))
    for drum in engine.drums:
        piece = sheet_of(engine, [72], [REST], [drum.name], length=setting)
        (told,) = json.loads(exported(piece, "json", engine))["drums"]
        silent = replace(piece, voice1=(REST,))
        one, other = (
            np.array([cycle for cycles, _ in edges(each, engine) for cycle in cycles])
            for each in (piece, silent)
        )
        differs = np.setxor1d(one, other).min()
        longest = engine.clock_hz / engine.pitches[72].frequency_hz
        assert 0 <= differs - round(told["seconds"] * engine.clock_hz) <= longest


def test_json_says_how_long_each_drum_silences_the_voices() -> None:
    piece = sheet_of(ALTERNATE, [69], drums=["kick-snare"], length=100)
    tick = 1243 / 1_193_182
    parts = (DrumPart("kick", (4400, 500), 16 * 1243), DrumPart("noise", (250, 1023), 28 * 1243))
    joint = DrumSound("kick-snare", (), 1.0, parts, ("kick", "snare"))
    engine = replace(ALTERNATE, drums=(joint,))
    (drum,) = json.loads(exported(piece, "json", engine))["drums"]
    assert (drum["name"], drum["joins"]) == ("kick-snare", ["kick", "snare"])
    assert drum["seconds"] == pytest.approx(44 * tick)
    assert [part["kind"] for part in drum["parts"]] == ["kick", "noise"]
    assert sum(part["seconds"] for part in drum["parts"]) == pytest.approx(drum["seconds"])
    short = replace(piece, length=40)  # three quarters of it are room for a drum
    (cut,) = json.loads(exported(short, "json", engine))["drums"]
    assert cut["seconds"] == pytest.approx(30 * tick)
    assert [part["seconds"] / tick for part in cut["parts"]] == pytest.approx([16, 14])


@settings(max_examples=25)
@given(sheets(PHASE) | sheets(ALTERNATE))
def test_json_fits_its_schema(sheet: Sheet) -> None:
    schema = resources.files("arranger.machine").joinpath("steps.schema.json").read_text("utf-8")
    engine = load_engine(sheet.engine)
    values = json.loads(exported(sheet, "json", engine))
    jsonschema.validate(values, json.loads(schema))
    assert len(values["steps"]) == sheet.steps
    seconds = {drum["name"]: drum["seconds"] for drum in values["drums"]}
    assert set(seconds) == {name for name in sheet.drums if name}
    for step, *written in zip(
        values["steps"], tones(sheet.voice1), tones(sheet.voice2), strict=True
    ):
        fills = seconds.get(step["drum"]) == values["step_seconds"]
        assert [step["voice1"], step["voice2"]] == [None if fills else each for each in written]


def test_data_is_laid_out_as_documented() -> None:
    content = exported(PIECE, "data", replace(PHASE, drum_takes_step=True))
    steps, loop, count, bits = struct.unpack_from("<IIHH", content)
    assert (steps, loop, count, bits) == (6, 2, PIECE.length, 16)
    rows = struct.unpack_from("<6H6H6B", content, 12)
    a4, c5, a2 = (PHASE.pitches[midi].setting for midi in (69, 72, 45))
    names = [None, *(drum.name for drum in PHASE.drums)]
    assert rows[:6] == (0, a4, 0, 0, c5, c5)
    assert rows[6:12] == (0, a2, 0, a2, 0, 0)
    assert [names[index] for index in rows[12:]] == ["kick", None, "hat", None, None, None]
    drums, at = content[12 + 6 * 5 :], 1
    assert drums[0] == 2
    for name in ("kick", "hat"):
        number, parts = drums[at : at + 2]
        assert names[number] == name
        at += 2
        for part in PHASE.drums[number - 1].within(PHASE.step_lengths[0].cycles):
            noise, *figures = struct.unpack_from("<BIII", drums, at)
            assert figures == [part.cycles, *part.settings, *[0] * (2 - len(part.settings))]
            assert noise == (part.kind == "noise")
            at += 13
            parts -= 1
        assert parts == 0
    assert at == len(drums)


def test_data_of_a_drum_s_parts_have_two_figures_each() -> None:
    parts = (
        DrumPart("kick", (4956, 1416), 5900), DrumPart("rest", (), 1180), DrumPart("noise", (118,), 2360),
    )  # fmt: skip
    engine = replace(PHASE, drums=(DrumSound("thud", (), 1.0, parts),))
    content = exported(sheet_of(engine, [REST], drums=["thud"]), "data", engine)
    told = (0, 5900, 4956, 1416), (2, 1180, 0, 0), (1, 2360, 118, 0)
    expected = b"".join(struct.pack("<BIII", *part) for part in told)
    assert content[12 + 4 :] == bytes((1, 1, 1, 3)) + expected


def test_data_has_32_bits_a_pitch_where_one_needs_more_than_16() -> None:
    high = max(pitch.setting for pitch in PHASE.pitches.values())
    for more, bits in ((0xFFFF - high, 16), (0x10000 - high, 32)):
        pitches = {
            n: each._replace(setting=each.setting + more) for n, each in PHASE.pitches.items()
        }
        engine = replace(PHASE, pitches=pitches)
        content = exported(replace(PIECE, loop_step=None, drums=(None,) * 6), "data", engine)
        assert struct.unpack_from("<IIHH", content) == (6, 0xFFFF_FFFF, PIECE.length, bits)
        rows = struct.unpack_from(f"<12{'I' if bits == 32 else 'H'}", content, 12)
        assert rows[1] == pitches[69].setting
        assert len(content) == 12 + 12 * bits // 8 + 6 + 1


def test_data_of_a_timer_is_divisors_by_tick() -> None:
    content = exported(sheet_of(ALTERNATE, [69, REST]), "data", ALTERNATE)
    # The shortest step is 24 ticks. By hand: 1,193,182 / 440 = 2711.8.
    assert content == struct.pack("<HHHHHI", 24, 2712, 24, 0, 0, 0xFFFF_FFFF)


def test_data_of_a_timer_go_round_where_the_sheet_does() -> None:
    sheet = sheet_of(ALTERNATE, [69, HOLD, HOLD, REST], loop_step=1)
    content = exported(sheet, "data", ALTERNATE)
    assert content == struct.pack("<HHHHHHHI", 24, 2712, 48, 2712, 24, 0, 0, 1)


@settings(max_examples=25)
@given(sheets(PHASE))
def test_every_format_takes_every_sheet(sheet: Sheet) -> None:
    for name in ("json", "c", "data"):
        assert exported(sheet, name)


def test_a_title_makes_an_identifier() -> None:
    assert re.fullmatch(r"[a-z][a-z0-9_]*", identifier("  Ünïque — “song”  "))


def test_an_unplayable_pitch_is_named_with_its_place() -> None:
    with pytest.raises(SheetError, match=r"bar 1, step 2: C-1 is outside the pitch table"):
        exported(sheet_of(PHASE, [69, 0]), "json")


def test_an_unknown_drum_is_named_with_its_place() -> None:
    with pytest.raises(SheetError, match=r"bar 1, step 1: twin-phase has no drum sound 'gong'"):
        exported(sheet_of(PHASE, [69], drums=["gong"]), "json")


def test_an_unknown_step_length_is_refused() -> None:
    with pytest.raises(SheetError, match="no step length 9999; write tempo instead of length"):
        exported(sheet_of(PHASE, [69], length=9999), "json")


def test_an_unknown_format_is_refused_with_the_nearest() -> None:
    with pytest.raises(SettingsError, match=r"no export format 'jsn'; did you mean 'json'\?"):
        find_exporter("jsn")


@pytest.mark.parametrize("name", EXPORTERS)
def test_every_exporter_writes_something_of_its_own(name: str) -> None:
    sheet = sheet_of(PHASE, [69, HOLD], drums=["kick", None])
    other = sheet_of(PHASE, [69, 71], drums=["kick", None])
    assert len(exported(sheet, name)) > 10
    assert exported(sheet, name) != exported(other, name)
    assert len({exporter.suffix for exporter in EXPORTERS.values()}) == len(EXPORTERS)
