"""Exports, comparison and passages against what the rows of a sheet say, step by step."""

from __future__ import annotations

import io
from dataclasses import replace
from fractions import Fraction
from random import Random
from typing import TYPE_CHECKING

import mido
import pytest
from hypothesis import given, settings

from arranger.engine import load_engine
from arranger.errors import LimitError, SheetError
from arranger.rows import HOLD, REST, tones
from arranger.sheet import Sheet, SheetBar, format_sheet, parse
from arranger.sheet.check import check_text
from arranger.sheet.compare import Side, SongNote, compare
from arranger.sheet.excerpt import MAX_STEPS, cut_bars, first_bars, go_round
from arranger.sheet.mark import mark_lines
from arranger.sheet.midi import percussion_keys, to_midi
from arranger.sheet.played import step_length
from tests.sheet.playable import playable

if TYPE_CHECKING:
    from arranger.engine.model import Engine

ENGINE = load_engine("twin-phase")
LENGTH = ENGINE.nearest_step_length(0.25)
SHEET = Sheet(
    title="Low tide",
    engine="twin-phase",
    step_beats=Fraction(1, 2),
    length=LENGTH.setting,
    bars=(SheetBar(0, 2, 4, 4), SheetBar(1, 8, 4, 4), SheetBar(2, 6, 3, 4), SheetBar(3, 4, 2, 3)),
    voice1=(60, HOLD, HOLD, 62, 62, *[HOLD] * 7, 64, HOLD, REST, REST, 65, HOLD, HOLD, HOLD),
    voice2=(HOLD, REST, 48, *[HOLD] * 9, *[REST] * 8),
    drums=("kick", None, "snare", *[None] * 16, "kick"),
    loop_step=2,
)


def test_the_midi_file_of_a_sheet_message_by_message() -> None:
    """480 ticks a beat, so 240 a step; a metre of thirds can't be said."""
    file = mido.MidiFile(file=io.BytesIO(to_midi(SHEET, ENGINE)))
    keys = {name: each[0] for name, each in percussion_keys(SHEET, ENGINE).items()}
    tempo = round(LENGTH.seconds * 2e6)
    first, *tracks = [
        [
            (m.time, m.type, {k: v for k, v in m.dict().items() if k not in ("time", "type")})
            for m in t
        ]
        for t in file.tracks
    ]
    signs = {"clocks_per_click": 24, "notated_32nd_notes_per_beat": 8}
    assert file.ticks_per_beat == 480
    assert first == [
        (0, "track_name", {"name": "Low tide"}),
        *((0, "text", {"text": line}) for line in mark_lines(SHEET, keys)),
        (0, "set_tempo", {"tempo": tempo}),
        (0, "time_signature", {"numerator": 4, "denominator": 4, **signs}),
        (2400, "time_signature", {"numerator": 3, "denominator": 4, **signs}),
        (2400, "end_of_track", {}),
    ]

    def played(name: str, channel: int, *notes: tuple[int, int, int]) -> list[object]:
        found: list[object] = [(0, "track_name", {"name": name})]
        if channel != 9:
            found.append((0, "program_change", {"program": 80, "channel": channel}))
        now = 0
        for start, end, pitch in notes:
            for at, kind, velocity in ((start, "note_on", 100), (end, "note_off", 0)):
                values = {"note": pitch, "velocity": velocity, "channel": channel}
                found.append((240 * at - now, kind, values))
                now = 240 * at
        return [*found, (4800 - now, "end_of_track", {})]

    assert tracks == [
        played("voice 1", 0, (0, 3, 60), (3, 4, 62), (4, 12, 62), (12, 14, 64), (16, 20, 65)),
        played("voice 2", 1, (2, 12, 48)),
        played("drums", 9, (0, 1, keys["kick"]), (2, 3, keys["snare"]), (19, 20, keys["kick"])),
    ]


def test_ticks_divide_every_step_or_say_that_they_cannot() -> None:
    for step, per_beat in (("1/7", 3360), ("1/67", 32160), ("1/71", 71), ("1/32767", 32767)):
        sheet = replace(SHEET, step_beats=Fraction(step))
        file = mido.MidiFile(file=io.BytesIO(to_midi(sheet, ENGINE)))
        assert file.ticks_per_beat == per_beat
        # The first tone of voice 1 lasts three steps; before it stand name and program.
        assert [m.time for m in file.tracks[1]][2:4] == [0, 3 * per_beat * Fraction(step)]
    with pytest.raises(SheetError, match="too small a share"):
        to_midi(replace(SHEET, step_beats=Fraction(1, 32768)), ENGINE)


def test_a_length_that_the_engine_lacks_is_told_with_those_it_has() -> None:
    settings = sorted(entry.setting for entry in ENGINE.step_lengths)
    with pytest.raises(SheetError, match="twin-phase has no step length 1") as caught:
        step_length(replace(SHEET, length=1), ENGINE)
    assert f"({settings[0]} to {settings[-1]})" in str(caught.value.remedy)


def test_sounds_without_a_percussion_key_get_one_that_is_free() -> None:
    drums = tuple(
        drum._replace(percussion_keys=keys)
        for drum, keys in zip(ENGINE.drums[:4], ((27, 28), (), (28, 27), ()), strict=True)
    )
    row = tuple(drum.name for drum in drums) * 5
    keys = percussion_keys(replace(SHEET, drums=row), replace(ENGINE, drums=drums))
    # The first sound takes both keys, whichever stands first elsewhere.
    assert keys[drums[0].name] == (27,)
    assert sorted(keys.values()) == [(27,), (28,), (29,), (30,)]


# Comparing


def heard_by_steps(note: SongNote, sheet: Sheet, engine: Engine, transpose: int, at: int) -> bool:
    """Return whether a note that starts on a step is heard on one of its steps."""
    steps = max(int(note.beats / sheet.step_beats + Fraction(1, 2)), 1)
    if note.drum:
        sound = engine.drum_for(note.pitch)
        return sound is not None and sheet.drums[at] == sound.name
    for step in range(at, min(at + steps, sheet.steps)):
        under = sheet.drums[step] is not None and engine.drum_takes_step
        for row in (sheet.voice1, sheet.voice2):
            pitch = tones(row)[step]
            if not under and pitch is not None and (pitch - note.pitch - transpose) % 12 == 0:
                return True
    return False


def test_notes_come_back_and_go_as_the_steps_say() -> None:
    random = Random(5)
    told = 0
    for _ in range(60):
        bars = (SheetBar(1, 8, 4, 4), SheetBar(2, 6, 6, 8))
        engine = load_engine(random.choice(("twin-phase", "twin-counter", "pc-alternate")))
        step = Fraction(1, 2)

        def sheet(bars=bars, engine=engine, step=step) -> Sheet:
            def row() -> tuple[int, ...]:
                return tuple(random.choice((60, 62, 64, HOLD, HOLD, REST)) for _ in range(14))

            drums = tuple(random.choice((None, None, "kick")) for _ in range(14))
            return replace(
                SHEET, engine=engine.name, bars=bars, step_beats=step, voice1=row(), voice2=row(),
                drums=drums, loop_step=None,
            )  # fmt: skip

        sides = [Side(sheet(), engine, 0), Side(sheet(), engine, 2)]
        notes = []
        for n in range(12):
            bar, beat = (
                random.choice((1, 2)),
                random.choice((1, Fraction(3, 2), 2, 3, Fraction(9, 4))),
            )
            drum = random.random() < 0.3
            notes.append(
                SongNote(str(n), 36 if drum else random.choice((60, 74, 52, 64)), drum, bar, Fraction(beat),
                         random.choice((Fraction(0), Fraction(1, 2), Fraction(1), Fraction(5, 4), Fraction(3)))),
            )  # fmt: skip
        found = compare(*sides, notes)
        back = {note.name for bar in found.bars for note in bar.brought_back}
        lost = {note.name for bar in found.bars for note in bar.lost}
        for note in notes:
            unit = Fraction(1) if note.bar == 1 else Fraction(1, 2)
            place = (note.beat - 1) * unit / step + Fraction(1, 2)
            at = (0 if note.bar == 1 else 8) + int(place)
            before, after = (heard_by_steps(note, s.sheet, engine, s.transpose, at) for s in sides)
            assert (note.name in back) == (after and not before)
            assert (note.name in lost) == (before and not after)
        told += len(back) + len(lost)
    assert told > 100


# Passages


def test_rounds_and_first_bars_step_by_step() -> None:
    assert go_round(SHEET, 1).steps == 20
    twice = go_round(SHEET, 3)
    played = tones(SHEET.voice1)
    assert tones(twice.voice1) == played + played[2:] * 2
    assert [bar.steps for bar in twice.bars] == [2, 8, 6, 4, 8, 6, 4, 8, 6, 4]
    middle = go_round(replace(SHEET, loop_step=3), 2)
    assert [bar.steps for bar in middle.bars] == [2, 8, 6, 4, 7, 6, 4]
    assert middle.steps == sum(bar.steps for bar in middle.bars)
    for count, loop in ((1, None), (2, 2), (3, 2)):
        some = first_bars(SHEET, count)
        assert (some.bars, some.loop_step) == (SHEET.bars[:count], loop)
        steps = sum(bar.steps for bar in SHEET.bars[:count])
        assert some.voice1 == SHEET.voice1[:steps]
        assert some.drums == SHEET.drums[:steps]
    inside = cut_bars(SHEET, 1, 2)
    assert tones(inside.voice1) == played[2:16]
    assert inside.drums == SHEET.drums[2:16]


def test_as_many_rounds_as_fit_are_played() -> None:
    """A beat of two steps, with the loop at the second: each round adds one step."""
    short = replace(
        SHEET, bars=(SheetBar(1, 2, 1, 4),), voice1=(60, 62), voice2=(REST, REST),
        drums=(None, None), loop_step=1,
    )  # fmt: skip
    assert go_round(short, 1000).steps == 1001
    with pytest.raises(LimitError):
        go_round(short, MAX_STEPS)


# Checking


def warned(row: tuple[int, ...], silenced: list[bool], drummed: list[bool]) -> set[tuple[str, int]]:
    """Return what a row plays otherwise than it reads, by looking at each step."""
    found = set()
    for step, cell in enumerate(row):
        begins = [n for n in range(step + 1) if row[n] != HOLD]
        last = row[begins[-1]] if begins else REST
        if cell == HOLD and last == REST and (step == 0 or row[step - 1] != HOLD):
            found.add(("hold-nothing", step))
        if cell >= 0:
            end = step + 1
            while end < len(row) and row[end] == HOLD:
                end += 1
            if all(silenced[step:end]):
                found.add(("tone-unheard", step))
            before = tones(row)[step - 1] if step else None
            started = begins[-2] if len(begins) > 1 else 0
            audible = not drummed[step] and not silenced[step - 1]
            if before == cell and audible and not all(silenced[started:step]):
                found.add(("no-attack", step))
    return found


@settings(max_examples=20, deadline=None)
@given(playable())
def test_the_check_warns_of_each_step_that_plays_otherwise(given: tuple[Sheet, Engine]) -> None:
    sheet, engine = given
    checked = check_text(format_sheet(sheet), lambda _name: engine)
    drummed = [drum is not None for drum in sheet.drums]
    silent = {drum.name for drum in engine.drums if engine.silences(drum)}
    silenced = [drum in silent for drum in sheet.drums]
    found = parse(format_sheet(sheet))
    assert found.voice1 == sheet.voice1
    written = list(range(sheet.steps))
    for bar, start in zip(sheet.bars, sheet.bar_starts, strict=False):
        if bar.as_bar is not None:  # what is so where it is written isn't told again
            source = written[sheet.bar_starts[bar.as_bar] :]
            written[start : start + bar.steps] = source[: bar.steps]
    wanted = sorted(
        code
        for row in (sheet.voice1, sheet.voice2)
        for all_of_row in [warned(row, silenced, drummed)]
        for code, step in all_of_row
        if written[step] == step or (code, written[step]) not in all_of_row
    )
    kinds = ("hold-nothing", "tone-unheard", "no-attack")
    assert sorted(p.code for p in checked.problems if p.code in kinds) == wanted
