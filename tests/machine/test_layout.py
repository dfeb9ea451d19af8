"""Song data as ``[export]`` asks for: read back by `plain_layout`, refused, or written as text."""

from __future__ import annotations

import copy
import struct
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from arranger.engine import load_engine, parse_engine
from arranger.engine.layout import full_layout, layout_of
from arranger.errors import SheetError
from arranger.machine.export_options import ExportOptions
from arranger.machine.exporters import export, export_notes
from arranger.machine.size import song_bytes
from arranger.rows import HOLD, REST, tones
from arranger.sheet.model import SheetBar, SheetSound, SoundPart
from tests.machine.plain_layout import HIDDEN, Reader
from tests.sound.sheets import sheet_of

if TYPE_CHECKING:
    from arranger.engine import Engine
    from arranger.sheet.model import Sheet

ENGINE = """\
format = "arranger-engine"
version = 1
name = "mine"
title = "Mine"
method = "counter"
clock_hz = 3_500_000
drum_takes_step = true
[loop]
cycles = 120
[pitch]
lowest = "C2"
highest = "C5"
bits = 8
[steps]
first = 8
last = 200
passes_per_count = 128
[memory]
code_bytes = 200
total_bytes = 16_384
[[drum]]
name = "kick"
kind = "kick"
percussion_keys = [36]
weight = 1.0
settings = [9000, 1100]
[[drum]]
name = "snare"
kind = "noise"
percussion_keys = [38]
weight = 0.9
settings = [420]
"""
PLAIN = parse_engine(ENGINE)
SETTINGS = {midi: pitch.setting for midi, pitch in PLAIN.pitches.items()}
DRUMS = [drum.name for drum in PLAIN.drums]


def value(name: str, bits: int = 8, **more: Any) -> dict[str, Any]:
    return {"value": name, "bits": bits, **more}


@st.composite
def tables(draw: st.DrawFn) -> dict[str, Any]:
    """Draw what ``[export]`` may say, for a routine that finds its way from the header."""
    ordered, steps = draw(st.booleans()), draw(st.booleans())
    kind = "step" if steps else "event"
    table: dict[str, Any] = {
        "base": draw(st.sampled_from([0, 0x9000, 0xC123])),
        "byte_order": draw(st.sampled_from(["low-first", "high-first"])),
        "fill": draw(st.integers(0, 255)),
    }
    wide = st.sampled_from([16, 24, 32])
    header = [value("music_address", draw(wide)), draw(st.integers(0, 255)), value("count")]

    # What voices and drums say.
    code = draw(st.sampled_from(["setting", "index", "midi"]))
    table["tones"] = {"code": code, "rest": draw(st.sampled_from([0, 253]))}
    if draw(st.booleans()):
        table["tones"]["hold"] = draw(st.sampled_from([1, 254]))
    if code == "index":
        table["tones"]["first"] = draw(st.integers(2, 9))
        if draw(st.booleans()):
            table["pitches"] = [
                draw(st.integers(0, 255)),
                value(draw(st.sampled_from(["setting", "midi"])), 16),
            ]
            header.append(value("pitches_address", 16))
    times = draw(st.sampled_from([1, 2])) if code != "setting" else 1
    affine = {"times": times, "add": draw(st.integers(0, 3)) if code != "setting" else 0}
    place = draw(st.sampled_from(["drum", "drum", "voice1", "voice2"]))
    codes = (
        {"kick": [248, 3], "snare": [251, 0, 7]} if draw(st.booleans()) or place != "drum" else {}
    )
    table["drums"] = {"place": place, "none": 0, **({"codes": codes} if codes else {})}

    # The fields of a record of music: numbers of a few bits first, then whole bytes.
    flags = draw(
        st.lists(st.sampled_from(["new1", "hold2", "rest1", "hit", "new2", "hold1"]), unique=True)
    )
    small = [value(flag, 1) for flag in flags]
    if not steps:
        small.insert(
            0, value("length", draw(st.integers(2, 9)), add=draw(st.sampled_from([-1, 0])))
        )
    pattern_ends = draw(st.sampled_from(["mark", "last", "steps", "records"])) if ordered else ""
    finish = draw(st.sampled_from(["mark", "last", "count"]))
    if pattern_ends == "last" or (finish == "last" and not ordered):
        small.append(value("last", 1))
    left = -sum(field["bits"] for field in small) % 8
    small += [{"number": draw(st.integers(0, 2**left - 1)), "bits": left}] * (left > 0)
    whole = [
        value("voice1", draw(st.sampled_from([8, 16])), **affine),
        value("voice2", 8, **affine),
    ]
    if place == "drum":
        whole.append(value("drum"))
    whole += [value("drum2"), value("drum3")] if codes and draw(st.booleans()) else []
    for field in whole:
        needs = {"voice1": ("new1", "hold1"), "voice2": ("new2", "hold2")}.get(
            field["value"], ("hit",)
        )
        if any(flag in flags for flag in needs) and draw(st.booleans()):
            flag = next(flag for flag in needs if flag in flags)
            field["when"] = flag.replace("hold", "new")
    table[kind] = [*small, *draw(st.permutations(whole))]

    # Lists, and how they end.
    blocks = ["pitches", "pattern_list", "order", "music"]
    if ordered:
        header.append(value("order_address", 16))
        entry = [value("pattern_address", 16)]
        told = [value(pattern_ends, 16)] if pattern_ends in ("steps", "records") else []
        if draw(st.booleans()):
            table["pattern_list"] = [*entry, *told, 0xAB]
            header.append(value("pattern_list_address", 24))
            table["order"] = [value("pattern")]
        else:
            table["order"] = [*entry, *told]
        table["order"] += [value("last", 8)] if finish == "last" else []
        if pattern_ends == "mark":
            table["pattern_end"] = [255, 255]
    loops = draw(st.sampled_from(["", "header", "mark", "again"]))
    if finish == "count":
        names = ["entries"] if ordered else ["records", "steps"]
        header.append(value(draw(st.sampled_from(names)), 16))
    if finish == "mark":
        table["end"] = [254, 254, 254]
        if loops == "again":
            table["again"] = [254, 255, value("loop_address", draw(wide))]
    elif loops == "again":
        table["end"] = [value("loop_address", draw(wide))]
    if loops == "header":
        header.append(value("loop", 16))
    if loops == "mark":
        table["loop_mark"] = [252, 252]
    table["header"] = draw(st.permutations(header))
    table["blocks"] = ["header", *draw(st.permutations(blocks))]
    aligned = draw(st.lists(st.sampled_from([*blocks, "pattern"]), max_size=2))
    table["align"] = dict.fromkeys(aligned, draw(st.sampled_from([2, 3, 16])))
    return table


def engine_of(table: dict[str, Any], engine: Engine = PLAIN) -> Engine:
    from arranger.engine.layout_check import layout_faults

    layout = layout_of(full_layout({"export": copy.deepcopy(table)})["export"])
    profile = engine.profile._replace(export=layout)
    assert list(layout_faults(profile, engine.pitches)) == []
    return replace(engine, profile=profile)


@st.composite
def pieces(draw: st.DrawFn) -> Sheet:
    """Draw a sheet of bars that may be alike, with many tones that are held."""
    cells = st.sampled_from([HOLD] * 6 + [REST, 48, 60, *PLAIN.pitches])
    bars = []
    for steps in draw(st.lists(st.integers(1, 6), min_size=1, max_size=3)):
        row = st.lists(cells | st.just(HOLD), min_size=steps, max_size=steps)
        hits = st.lists(st.sampled_from([None, None, *DRUMS]), min_size=steps, max_size=steps)
        bars.append(sheet_of(PLAIN, draw(row), draw(row), draw(hits)))
    order = draw(st.lists(st.sampled_from(bars), min_size=1, max_size=6))
    sheet = replace(
        order[0],
        bars=tuple(SheetBar(n, bar.steps, 4, 4) for n, bar in enumerate(order, 1)),
        voice1=sum((bar.voice1 for bar in order), ()),
        voice2=sum((bar.voice2 for bar in order), ()),
        drums=sum((bar.drums for bar in order), ()),
    )
    return replace(sheet, loop_step=draw(st.none() | st.integers(0, sheet.steps - 1)))


@settings(max_examples=150, phases=(Phase.generate,))  # shrinking takes minutes
@given(tables(), pieces())
def test_what_is_written_can_be_read_from_the_description(
    table: dict[str, Any], sheet: Sheet
) -> None:
    engine = engine_of(table)
    content = export(sheet, engine, "data", ExportOptions())
    read = Reader(table, SETTINGS, DRUMS, content).read()
    assert read.drums == list(sheet.drums)
    for row, found in ((sheet.voice1, read.voice1), (sheet.voice2, read.voice2)):
        heard = [HIDDEN if f == HIDDEN else tone for f, tone in zip(found, tones(row), strict=True)]
        assert found == heard
    tells = (
        "loop" in str(table["header"])
        or {"loop_mark", "again"} & {*table}
        or "loop" in str(table.get("end"))
    )
    assert read.loop_step == (sheet.loop_step if tells else None)


def data(table: dict[str, Any], sheet: Sheet, **options: Any) -> bytes:
    return export(sheet, engine_of(table), "data", ExportOptions(**options))


def notes(table: dict[str, Any], sheet: Sheet) -> str:
    return "\n".join(export_notes(sheet, engine_of(table), "data", ExportOptions()))


C4, G2 = SETTINGS[60], SETTINGS[43]
SILENT: dict[str, Any] = {"drums": {"other": "silent"}}
PAIR = ["voice1", "voice2"]


def bars_of(sheet: Sheet, *steps: int) -> Sheet:
    return replace(sheet, bars=tuple(SheetBar(n, each, 4, 4) for n, each in enumerate(steps, 1)))


def test_two_bytes_a_step() -> None:
    sheet = sheet_of(PLAIN, [60, HOLD, REST], [REST, 43, HOLD])
    assert data({"step": PAIR, **SILENT}, sheet) == bytes([C4, 0, C4, G2, 0, G2])
    held = {"step": PAIR, "tones": {"hold": 1}, "end": [255], **SILENT}
    assert data(held, sheet) == bytes([C4, 0, 1, G2, 0, 1, 255])


def test_a_timer_that_alternates_may_have_a_layout_too() -> None:
    timer = load_engine("pc-alternate")
    engine = engine_of({"step": PAIR, "bits": 16, **SILENT}, timer)
    sheet = sheet_of(timer, [69, REST])
    # By hand: 1,193,182 / 440 = 2711.8.
    assert export(sheet, engine, "data", ExportOptions()) == struct.pack("<HHHH", 2712, 0, 0, 0)
    assert song_bytes(sheet, engine) == 8


def test_few_bits_make_numbers_the_first_in_the_highest() -> None:
    fields = [value("drum", 3), value("voice1", 13), value("voice2", 8)]
    sheet = sheet_of(PLAIN, [60], [43], ["snare"])
    assert data({"step": fields}, sheet) == bytes([C4, 2 << 5, G2])
    high = {"step": fields, "byte_order": "high-first"}
    assert data(high, sheet) == bytes([2 << 5, C4, G2])


def test_numbers_that_run_over_bytes_are_one_number_up_to_where_they_end() -> None:
    sevens = [{"number": number, "bits": 7} for number in range(1, 9)]
    bits = "".join(f"{number:07b}" for number in range(1, 9))
    told = bytes(int(bits[at : at + 8], 2) for at in range(0, 56, 8))
    table = {"step": PAIR, "end": sevens, **SILENT}
    assert data(table, sheet_of(PLAIN, [60]))[2:] == told[::-1]
    assert data({**table, "byte_order": "high-first"}, sheet_of(PLAIN, [60]))[2:] == told


def test_codes_of_a_drum_that_has_fewer_than_its_fields_are_nought() -> None:
    table = {
        "step": [*PAIR, "drum", "drum2", "drum3", "drum4"],
        "drums": {"codes": {"kick": [9], "snare": [8, 7, 6, 5]}},
    }
    told = data(table, sheet_of(PLAIN, [REST] * 3, drums=["kick", "snare", None]))
    assert [told[at : at + 6] for at in (0, 6, 12)] == [
        bytes([0, 0, 9, 0, 0, 0]), bytes([0, 0, 8, 7, 6, 5]), bytes(6)
    ]  # fmt: skip


def test_a_long_event_is_split_into_holds() -> None:
    event = [
        value("length", 2),
        value("new1", 1),
        value("new2", 1),
        value("hit", 1),
        value("drum", 3),
    ]
    event += [value("voice1", when="new1"), value("voice2", when="new2")]
    sheet = sheet_of(PLAIN, [60, *[HOLD] * 6], None, ["kick", *[None] * 6])
    told = bytes([0b11_1_1_1_001, C4, 0, 0b11_0_0_0_000, 0b01_0_0_0_000])
    assert data({"event": event}, sheet) == told
    four = {"event": [value("length", 2, add=-1), {"number": 0, "bits": 6}, *PAIR], **SILENT}
    assert data(four, sheet) == bytes([0b11_000000, C4, 0, 0b10_000000, C4, 0])


def test_the_loop_begins_anew() -> None:
    sheet = sheet_of(PLAIN, [60, *[HOLD] * 3], [43, *[HOLD] * 3], loop_step=2)
    table = {
        "event": ["length", *PAIR],
        "tones": {"hold": 1},
        "again": [255, "loop_address"],
        **SILENT,
    }
    assert data(table, sheet) == bytes([2, C4, G2, 2, C4, G2, 255, 3])
    assert data({**table, "base": 0x20}, sheet)[-1] == 0x23
    assert data(table, sheet, address=0x40)[-1] == 0x43
    assert data({**table, "again": [], "header": ["loop"]}, sheet)[0] == 1
    once = replace(sheet, loop_step=None)
    for told in (0, 9):
        assert data({**table, "again": [], "header": ["loop"], "no_loop": told}, once)[0] == told


def test_patterns_may_have_a_length_and_places() -> None:
    table = {
        "base": 0x8001, "header": ["steps", value("music_address", 16)],
        "order": ["pattern"], "end": [255], "step": PAIR, "pattern_steps": 2,
        "align": {"music": 16}, "fill": 0xEE, **SILENT,
    }  # fmt: skip
    sheet = sheet_of(PLAIN, [60, 60, 43, HOLD, 60, HOLD, 43])
    content = data(table, sheet)
    assert content[:7] == bytes([8, 0x10, 0x80, 0, 1, 0, 2])
    assert content[7:15] == bytes([255]) + bytes([0xEE]) * 7
    assert content[15:] == bytes([C4, 0, C4, 0, G2, 0, G2, 0, G2, 0, 0, 0])
    assert "the last pattern is filled with silence: 1 step" in notes(table, sheet)


def test_the_map_says_what_lies_where() -> None:
    table = {
        "base": 0x9000, "header": ["count", value("loop_address", 16)],
        "pitches": ["setting"], "order": ["pattern"], "end": [255], "step": PAIR,
        "pattern_end": [0xFE], "tones": {"code": "index"}, **SILENT,
    }  # fmt: skip
    sheet = sheet_of(PLAIN, [60] * 4, [43] * 4, ["kick", None, "kick", None], loop_step=2)
    assert notes(table, bars_of(sheet, 2, 2)).splitlines() == [
        "13 bytes of song data, by offset:",
        "     0 (0x9000)  header: 3 bytes",
        "     3 (0x9003)  2 pitches: 2 bytes",
        "     5 (0x9005)  order list, 2 entries: 3 bytes",
        "     8 (0x9008)  1 pattern, 2 steps: 5 bytes",
        "     6 (0x9006)  loop: order entry 1 (counted from 0)",
        "drum kick has no code: it is missing on 2 steps",
    ]


def test_the_map_says_when_a_loop_is_left_out() -> None:
    sheet = sheet_of(PLAIN, [60], loop_step=0)
    for more in ({"again": [1]}, {"header": ["loop"]}, {"loop_mark": [3]}):
        assert "left out" not in notes({"step": PAIR, "end": [9], **more, **SILENT}, sheet)
    assert "the loop is left out" in notes({"step": PAIR, "end": [9], **SILENT}, sheet)


OWN = replace(
    sheet_of(PLAIN, [60, 60, 60], drums=["clank", "clank", "kick"]),
    sounds=(
        SheetSound("clank", (SoundPart("noise", (354,), 20_000),)),
        SheetSound("kick", (SoundPart("noise", (354,), 20_000),)),
    ),
)


def test_a_drum_without_a_code_is_refused_or_silent() -> None:
    table: dict[str, Any] = {"step": [*PAIR, "drum"]}
    with pytest.raises(SheetError, match="the drum 'clank', on 2 steps, has no code in"):
        data(table, OWN)
    table["drums"] = {"other": "silent"}
    assert data(table, OWN)[2::3] == bytes([0, 0, 1])
    assert notes(table, OWN).splitlines()[2:] == [
        "drum clank has no code: it is missing on 2 steps",
        "drum kick: the routine's own sound, not the one that the sheet defines",
    ]


LONG = bars_of(sheet_of(PLAIN, [60, 62, 64, 65, 67, 69]), 1, 2, 3)


@pytest.mark.parametrize(
    ("table", "sheet", "message"),
    [
        ({"order": [value("pattern", 1), value("pattern", 7)], "pattern_end": [255], "step": PAIR},
         LONG, r"bar 3, step 1: pattern would be 2 in the order of \[export\], which takes 0 to 1; give"),
        ({"order": ["pattern"], "step": PAIR}, LONG, "its patterns have 1 to 3 steps, and nothing in .* says so"),
        ({"order": ["pattern"], "step": PAIR}, bars_of(sheet_of(PLAIN, [60, 62, 64]), 1, 2), "have 1 to 2 steps"),
        ({"order": ["pattern"], "step": PAIR, "pattern_steps": 2}, replace(LONG, loop_step=3),
         "its loop isn't at the beginning of a pattern of 2 steps"),
        ({"order": ["pattern"], "step": PAIR, "pattern_steps": 4}, replace(LONG, loop_step=4),
         "2 steps are missing in its last pattern of 4"),
        ({"step": PAIR, "end": [0, 0]}, sheet_of(PLAIN, [60, REST]), "bar 1, step 2: is written 00 00, as end is"),
        ({"order": ["pattern"], "step": PAIR, "pattern_end": [C4]}, LONG, f"step 1: is written {C4:02X}, as pattern_end"),
        ({"order": ["pattern"], "step": PAIR, "pattern_end": [255], "end": [2]}, LONG, "bar 3, step 1: is written 02, as end"),
        ({"step": PAIR, "header": [value("steps", 2), value("loop", 6)]}, LONG, "steps would be 6 in the header"),
        ({"step": [value("voice1", 2), value("voice2", 6)], "pitches": ["setting"], "tones": {"code": "index"}},
         LONG, "F4 would be 4 in voice1, which takes 0 to 3"),
    ],
)  # fmt: skip
def test_what_cannot_be_said_is_refused(table: dict[str, Any], sheet: Sheet, message: str) -> None:
    with pytest.raises(SheetError, match=message):
        data({**table, **SILENT}, sheet)


def test_a_song_without_room_can_still_be_measured() -> None:
    table = {"step": PAIR, "header": [value("steps", 2), value("loop", 6)], **SILENT}
    assert song_bytes(LONG, engine_of(table)) == 13
