"""The most that players and data hold: just so much is written, and one more is refused."""

from __future__ import annotations

import struct
from dataclasses import replace
from itertools import islice, product

import pytest

from arranger.engine import Engine, load_engine
from arranger.engine.model import DrumSound
from arranger.engine.profile import DrumPart
from arranger.errors import SettingsError, SheetError, UsageError
from arranger.machine import pack
from arranger.machine.alternate_player import (
    PLAYER,
    PROGRAM,
    alternate_source,
    binary,
    song_data,
)
from arranger.machine.export_options import ExportOptions
from arranger.machine.exporters import export
from arranger.machine.player import Build, _check, _stack_words, build
from arranger.machine.song_source import player_song
from arranger.rows import HOLD, REST
from tests.sound.sheets import sheet_of

PHASE, TIMER = load_engine("twin-phase"), load_engine("pc-alternate")


def with_drums(engine: Engine, count: int) -> Engine:
    """Return an engine with so many drum sounds of one short part."""
    part = DrumPart("noise", (354,), 5900)
    drums = (DrumSound(f"d{number}", (), 1.0, (part,)) for number in range(count))
    return replace(engine, drums=tuple(drums))


@pytest.mark.parametrize(
    ("engine", "form", "most"),
    [(PHASE, "binary", 63), (PHASE, "data", 255), (PHASE, "c", 255), (TIMER, "binary", 255)],
    ids=["player", "data", "c", "timer"],
)
def test_the_most_drum_sounds(engine: Engine, form: str, most: int) -> None:
    many = with_drums(engine, most + 1)
    names: list[str | None] = [drum.name for drum in many.drums]
    length = engine.step_lengths[-1].setting
    sheet = sheet_of(many, [REST] * most, drums=names[:most], length=length)
    assert export(sheet, many, form, ExportOptions())
    over = sheet_of(many, [REST] * (most + 1), drums=names, length=length)
    with pytest.raises(SheetError, match=f"more than {most} "):
        export(over, many, form, ExportOptions())


@pytest.mark.parametrize("loop_step", [None, 0])
def test_the_most_kinds_of_events(loop_step: int | None) -> None:
    """A byte less two that mean something else, and less a third where the piece ends."""
    engine = with_drums(PHASE, 60)
    most = 256 - 2 - (loop_step is None)
    kinds = islice(product(range(1, 6), engine.drums), most + 1)
    rows: tuple[list[int], list[int], list[str | None]] = ([], [], [])
    ends = []
    for number, (steps, drum) in enumerate(kinds):
        rows[0].extend([60 + number % 2, *[HOLD] * (steps - 1)])
        rows[1].extend([40 if number == 0 else HOLD] * steps)
        rows[2].extend([drum.name, *[None] * (steps - 1)])
        ends.append(len(rows[0]))
    fits = sheet_of(engine, *(row[: ends[-2]] for row in rows), loop_step=loop_step)  # type: ignore[arg-type]
    told = [line.values[0] & 0xC0 for line in pack(fits, engine).kinds]  # type: ignore[operator]
    assert told[:most] == [0xC0] + [0x80] * (most - 1)
    with pytest.raises(SheetError, match="too many pitches, or kinds of events"):
        pack(sheet_of(engine, *rows, loop_step=loop_step), engine)


def test_the_most_tones() -> None:
    """128, for a byte says where among words each is; silence is one."""
    pitch = PHASE.pitches[60]
    every = {midi: pitch._replace(midi=midi, setting=100 + midi) for midi in range(128)}
    engine = replace(PHASE, pitches=every)
    song = pack(sheet_of(engine, [*range(128)], [0] * 128), engine)
    assert len(song.tones) == 128
    with pytest.raises(SheetError, match="too many pitches"):
        pack(sheet_of(engine, [*range(128), REST], [0] * 129), engine)


def test_the_most_songs_and_phrases_in_phrases_of_a_player() -> None:
    _check(PHASE, 128, Build())
    song = player_song(sheet_of(PHASE, [60]), PHASE)
    for depth in (26, 27):
        deep = [song._replace(packed=song.packed._replace(depth=depth))]
        assert _stack_words(deep, Build()) == depth
        if depth == 26:
            assert _stack_words(deep, Build(part="player")) == 26
            continue
        with pytest.raises(SheetError, match="in each other more often"):
            _stack_words(deep, Build(part="player"))


def test_the_last_bytes_of_memory_are_the_songs() -> None:
    sheet = sheet_of(PHASE, [60, 62], [43, HOLD])
    size = len(build([sheet], PHASE, Build()).content)
    whole = replace(PHASE, memory_bytes=0x10000)
    last = 0x10000 - size
    assert build([sheet], whole, Build(last)).origin == last
    assert build([sheet], replace(PHASE, memory_bytes=size), Build())
    for origin, bytes_ in ((last + 1, 0x10000), (0x8000, size - 1)):
        with pytest.raises(SheetError, match=r"bytes, and [0-9]+ are free"):
            build([sheet], replace(PHASE, memory_bytes=bytes_), Build(origin))
    with pytest.raises(SheetError, match="bytes, and 0 are free"):
        build([sheet], whole, Build(0xFFF0))
    for origin in (0x7FFF, 0x10000):
        with pytest.raises(UsageError, match="can't lie at"):
            build([sheet], whole, Build(origin))


def test_the_last_bytes_of_a_segment_are_the_timers() -> None:
    sheet = sheet_of(TIMER, [60, 62], [43, HOLD])
    size = len(PLAYER) + len(song_data(sheet, TIMER))
    assert binary(sheet, replace(TIMER, memory_bytes=size)) == PROGRAM + binary(sheet, TIMER, 0)
    with pytest.raises(SheetError, match=f"and {size - 1 - len(PLAYER)} are free"):
        binary(sheet, replace(TIMER, memory_bytes=size - 1))
    last = 0x10000 - size
    assert len(binary(sheet, TIMER, last)) == size
    assert f"org     {last:#06x}" in alternate_source(sheet, TIMER, last)
    for write in (binary, alternate_source):
        with pytest.raises(SettingsError, match="would reach 1 bytes beyond the segment's end"):
            write(sheet, TIMER, last + 1)


def test_the_shortest_tick_and_what_a_silent_piece_counts_first() -> None:
    profile = TIMER.profile
    for cycles in (400, 399):
        loop = profile.loop._replace(cycles=cycles)
        engine = replace(TIMER, profile=profile._replace(loop=loop))
        if cycles == 400:
            words = struct.unpack_from("<10H", song_data(sheet_of(engine, [REST]), engine), 42)
            assert words[3:7] == (2, 1, 0, 42 + 20 + 2)  # the least; a step; no loop; its place
            continue
        with pytest.raises(
            SettingsError, match="ticks of 400 clocks or more; pc-alternate has 399"
        ):
            song_data(sheet_of(engine, [REST]), engine)


def test_a_source_for_the_timer_has_sixteen_bytes_a_line() -> None:
    lines = alternate_source(sheet_of(TIMER, [60] * 20), TIMER).splitlines()
    data = [line for line in lines if line.startswith("        db      ") and "," in line]
    *whole, last = [line.count(",") + 1 for line in data[-9:]]
    assert set(whole) == {16}
    assert last <= 16
