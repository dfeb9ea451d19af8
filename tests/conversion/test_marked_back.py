"""A song that was made from a sheet becomes that sheet, with every note accounted for as it stands there."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

import pytest

from arranger.conversion import convert
from arranger.conversion.marked import _Placed, _said, _timed, read_marked
from arranger.engine import load_engine
from arranger.grid import StepChoice
from arranger.reduce.worth.weights import RoleEvidence
from arranger.rows import HOLD, tones
from arranger.settings import Settings
from arranger.sheet.mark import find_mark
from arranger.sheet.midi import to_midi
from arranger.sheet.played import beat_microseconds
from arranger.song import read_song_bytes
from arranger.song.model import TempoChange
from tests.sheet.test_by_hand import converted
from tests.sheet.test_midi import SMALL

if TYPE_CHECKING:
    from arranger.sheet import Sheet
    from arranger.sheet.mark import SheetMark
    from arranger.song import Song

ENGINE = load_engine("twin-phase")


def made(sheet: Sheet) -> Song:
    return read_song_bytes(to_midi(sheet, ENGINE), "made.mid")


@pytest.mark.parametrize("number", [None, 0, 1, 2, 3])
def test_each_step_is_for_the_note_that_stands_there(number: int | None) -> None:
    sheet = SMALL if number is None else converted(number, 0).sheet
    song = made(sheet)
    found = convert(song, ENGINE, Settings())
    reduction, grid = found.reduction, found.grid
    assert (reduction.voice1, reduction.voice2, reduction.drums) == (
        sheet.voice1, sheet.voice2, sheet.drums,
    )  # fmt: skip
    ticks = int(sheet.step_beats * song.ticks_per_beat)
    for cells, row in ((sheet.voice1, reduction.sources1), (sheet.voice2, reduction.sources2)):
        start = 0
        for step, (tone, note) in enumerate(zip(tones(cells), row, strict=True)):
            start = start if cells[step] == HOLD else step
            if tone is None:
                assert note == -1
            else:
                assert (song.notes[note].onset, song.notes[note].pitch) == (start * ticks, tone)
                assert not song.notes[note].drum
    for step, (hit, note) in enumerate(zip(sheet.drums, reduction.drum_sources, strict=True)):
        assert (hit is None) == (note == -1)
        if note >= 0:
            assert (song.notes[note].onset, song.notes[note].drum) == (step * ticks, True)
    assert reduction.ledger.transpose == 0
    assert {entry.outcome for entry in reduction.ledger.entries} <= {"kept", "merged"}
    for note in song.notes:
        assert grid.onset_steps[note.id] == grid.positions[note.id] == note.onset // ticks
        long = 1 if note.drum else note.duration // ticks
        assert grid.end_steps[note.id] == note.onset // ticks + long
    assert grid.alternatives == (StepChoice(sheet.step_beats, 0.0, sheet.steps, 0, 0, 0),)
    starts = [ticks * start for start in sheet.bar_starts]
    assert grid.bar_ticks == tuple(starts)
    assert starts[-1] == ticks * sheet.steps
    assert (grid.first_tick, grid.loop_step, grid.basis) == (0, sheet.loop_step, "file")
    marked = read_marked(song, ENGINE, Settings())
    assert marked is not None
    asked = marked.asked
    assert asked.steps_per_beat == float(1 / sheet.step_beats)
    assert asked.step_seconds == grid.step_length.seconds
    assert asked.onset == grid.onset_steps.tolist()
    assert asked.end == asked.note_end == asked.written_end == grid.end_steps.tolist()
    nothing = [-1] * len(song.notes)
    assert (asked.octave_of, asked.duplicate_of) == (nothing, nothing)
    for row in (asked.rings, asked.offset, asked.tune, *asked.turning):
        assert not any(row)
    assert [len(row) for row in asked.turning] == [sheet.steps] * 2


def test_what_does_not_fit_the_mark_is_an_ordinary_song() -> None:
    song = made(SMALL)
    steps, ticks = SMALL.steps, int(SMALL.step_beats * song.ticks_per_beat)
    assert read_marked(song, ENGINE, Settings()) is not None
    first = next(note for note in song.notes if not note.drum)
    last = max((note for note in song.notes if not note.drum), key=lambda note: note.onset)
    for note, change in (
        (first, {"onset": first.onset + 1}),
        (first, {"duration": first.duration + 1}),
        (first, {"duration": 0}),
        (first, {"pitch": max(ENGINE.pitches) + 1}),
        (first, {"pitch": min(ENGINE.pitches) - 1}),
        (last, {"duration": ticks * (steps + 1) - last.onset}),
    ):
        changed = [each._replace(**change) if each.id == note.id else each for each in song.notes]
        assert read_marked(replace(song, notes=tuple(changed)), ENGINE, Settings()) is None, change
    whole = [
        e._replace(duration=ticks * steps - e.onset) if e.id == last.id else e for e in song.notes
    ]
    assert read_marked(replace(song, notes=tuple(whole)), ENGINE, Settings()) is not None
    for other in (replace(song, own_beat=False), replace(song, notes=())):
        assert read_marked(other, ENGINE, Settings()) is None
    parts = [part._replace(name=part.name.replace("voice", "flute")) for part in song.parts]
    assert read_marked(replace(song, parts=tuple(parts)), ENGINE, Settings()) is None
    chosen = Settings()
    for most, fits in ((steps, True), (steps - 1, False)):
        asked = replace(chosen, grid=replace(chosen.grid, max_steps=most))
        assert (read_marked(song, ENGINE, asked) is not None) == fits
    texture = replace(chosen, reduce=replace(chosen.reduce, texture="as-written", max_bytes=9))
    assert read_marked(song, ENGINE, texture) is not None
    for reduce in (
        replace(chosen.reduce, transpose=1),
        replace(chosen.reduce, texture="two-highest"),
    ):
        assert read_marked(song, ENGINE, replace(chosen, reduce=reduce)) is None


def test_a_joint_sound_has_a_note_for_each_that_it_says() -> None:
    """Any other two notes on a step are no drum of the engine's."""
    kit = [_Placed(0, 3, 1, name) for name in ("kick", "hat", "crash", "kick")]
    first, hat, crash, again = kit
    assert _said([], ENGINE) == {}
    assert _said([first], ENGINE) == {3: "kick"}
    assert _said([hat, first, _Placed(1, 4, 1, None)], ENGINE) == {3: "kick-hat"}
    for wrong in ([first, again], [first, hat, crash, _Placed(0, 3, 1, "snare")]):
        assert _said(wrong, ENGINE) is None
        assert _said([*wrong, first._replace(step=5)], ENGINE) is None


def test_a_song_whose_tempo_was_changed_is_as_fast_as_it_begins() -> None:
    tempos = (TempoChange(0, 400_000), TempoChange(96, 900_000))
    found = read_marked(replace(made(SMALL), tempos=tempos), ENGINE, Settings())
    assert found is not None
    assert (found.tempo, found.length, found.grid.asked_bpm) == (None, None, 150.0)


def test_parts_are_what_the_sheet_has_them_as() -> None:
    roles = convert(made(SMALL), ENGINE, Settings()).reduction.roles
    told = {role.role: role[2:] for role in roles}
    says = "the file was made from a sheet that has it as "
    for role, tune, bass, what in (
        ("tune", 1.0, 0.0, "voice 1"), ("bass", 0.0, 1.0, "voice 2"), ("drums", 0.0, 0.0, "drums"),
    ):  # fmt: skip
        assert told[role] == (tune, bass, (RoleEvidence(says + what, 1),))


def mark_of(song: Song, **changes: object) -> SheetMark:
    mark = find_mark(song)
    assert mark is not None
    return replace(mark, step_beats=Fraction(1, 4), **changes)


@pytest.mark.parametrize(
    ("engine", "tempo", "listed", "off", "left"),
    [
        ("twin-phase", 120.0, None, 0.0, (120.0, False)),
        ("twin-phase", 120.0, 0, 0.0, (120.0, True)),
        ("twin-phase", None, 0, 0.0, (None, True)),
        ("twin-phase", None, 0, 0.0009, (None, True)),
        ("twin-phase", None, 0, 0.0011, (None, False)),
        ("twin-phase", 120.0, None, -0.0009, (120.0, False)),
        ("twin-phase", 120.0, None, -0.0011, (None, False)),
        ("other", 120.0, 0, 0.0, (120.0, False)),
        ("other", 120.0, 0, 0.0299, (120.0, False)),
        ("other", 120.0, 0, 0.0301, (None, False)),
        ("other", None, 0, 0.0, (None, False)),
        ("twin-phase", None, None, 0.5, (None, False)),
    ],
)
def test_a_mark_keeps_its_tempo_unless_another_program_changed_it(
    engine: str,
    tempo: float | None,
    listed: int | None,
    off: float,
    left: tuple[float | None, bool],
) -> None:
    """By a thousandth of what the engine plays; of another engine's, three in a hundred of what is written."""
    song = made(SMALL)
    length = None if listed is None else ENGINE.step_lengths[listed].setting
    mark = mark_of(song, engine=engine, tempo=tempo, length=length)
    played = 500_000.0
    if engine == "twin-phase" and (tempo or length is not None):
        played = beat_microseconds(mark, ENGINE)
    told = replace(song, tempos=(TempoChange(0, round(played * (1 + off))),))
    found = _timed(told, ENGINE, Settings(), mark)
    assert (found.tempo, found.length) == (left[0], length if left[1] else None)
    told = replace(told, tempos=(*told.tempos, TempoChange(96, 3 * round(played))))
    assert _timed(told, ENGINE, Settings(), mark) == found, "the first tempo counts"
    unknown = replace(mark, length=123_456, tempo=120.0, engine="twin-phase")
    assert (
        _timed(replace(song, tempos=(TempoChange(0, 500_000),)), ENGINE, Settings(), unknown).length
        is None
    )
