"""Where bars that a hand put in, took out and moved take the notes of a song, step by step."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from functools import cache
from itertools import groupby, pairwise
from operator import itemgetter
from random import Random

import pytest

from arranger.conversion import convert
from arranger.conversion.by_hand import (
    _entry,
    _grid,
    _in_step_with,
    _moved,
    _owners,
    _places,
    _stretches,
    revise,
    what_was_asked,
)
from arranger.conversion.numbers import passages_of
from arranger.engine import load_engine
from arranger.reduce.ledger import Entry, Span
from arranger.rows import HOLD, tones
from arranger.settings import GridSettings, ReduceSettings, Settings
from arranger.sheet.bar_edits.structure import delete_bars
from arranger.sheet.bar_edits.which_bars import Chosen
from arranger.sheet.merging.merge import Merge, merge
from arranger.song import read_song_bytes
from tests.grid.songs import song_of
from tests.sheet import edits
from tests.sheet.test_by_hand import SONGS, converted, three_parts


@cache
def merges() -> list[tuple[int, Merge]]:
    """Return songs with their merged sheets: as generated, without the first bar, with some edits."""
    found: list[tuple[int, Merge]] = []
    for song in range(len(SONGS)):
        now = converted(song, 0).sheet
        found.append((song, merge(now, now)))
        found.append((song, merge(delete_bars(now, Chosen(0, 1)).sheet, now)))
        for seed in range(3):
            edited = edits.edit(Random(seed), converted(song, seed % 2).sheet).sheet
            found.append((song, merge(edited, now)))
    return found


def steps_by_bar(now: list[int], merged: Merge) -> dict[int, int]:
    """Return the merged sheet's step of each step as generated that is there; ``now``: the bars' steps."""
    found = {}
    at = 0
    for bar, origin in zip(merged.sheet.bars, merged.bars, strict=True):
        if origin.now is not None:
            start = sum(now[: origin.now])
            found |= {start + n: at + n for n in range(min(bar.steps, now[origin.now]))}
        at += bar.steps
    return found


@pytest.mark.parametrize("number", range(5 * len(SONGS)))
def test_notes_go_where_their_steps_went(number: int) -> None:
    song, merged = merges()[number]
    now = converted(song, 0)
    went = steps_by_bar([bar.steps for bar in now.sheet.bars], merged)
    places = _places(now.sheet, merged)
    assert places.to_merged == [went.get(step, -1) for step in range(now.sheet.steps)] + [-1]
    came = {there: step for step, there in went.items()}
    assert places.to_now == [came.get(step, -1) for step in range(merged.sheet.steps)]

    grid = _grid(now, merged, places)
    for note in range(len(now.song.notes)):
        onset, end = int(now.grid.onset_steps[note]), int(now.grid.end_steps[note])
        there = went.get(onset, -1)
        assert grid.onset_steps[note] == there
        wanted = end if there < 0 else max(went.get(end - 1, -1) + 1, there + 1)
        assert grid.end_steps[note] == wanted
        moved = there - onset if there >= 0 else 0
        assert grid.positions[note] == pytest.approx(now.grid.positions[note] + moved)
    assert (grid.steps, grid.loop_step) == (merged.sheet.steps, merged.sheet.loop_step)
    alike = [origin.now for origin in merged.bars] == list(range(len(now.grid.bars)))
    assert grid.sections == (now.grid.sections if alike else ())
    assert grid.first_number == now.grid.bars[0].number

    asked = what_was_asked(now)
    firsts, ends, note_ends = _stretches(asked, places)
    for note, onset in enumerate(asked.onset):
        first = (
            next((went[s] for s in range(onset, asked.end[note]) if s in went), -1)
            if onset >= 0
            else -1
        )
        assert firsts[note] == (onset if alike and firsts is asked.onset else first)
        for limit, found in (
            (asked.end[note], ends[note]),
            (asked.note_end[note], note_ends[note]),
        ):
            later = [went[s] for s in range(onset + 1, limit) if s in went]
            assert found == (limit if firsts is asked.onset else max([first, *later[-1:]]) + 1)


@pytest.mark.parametrize("number", range(5 * len(SONGS)))
def test_steps_are_for_the_notes_that_the_machine_played_there(number: int) -> None:
    """In whichever voice; the rest of such a tone, before and after, is for its note as well."""
    song, merged = merges()[number]
    now, sheet = converted(song, 0), merged.sheet
    hand, places = len(now.song.notes), _places(now.sheet, merged)
    found = _owners(now, sheet, places)
    was = now.reduction
    played = {
        0: (now.sheet.drums, was.drum_sources),
        1: (tones(now.sheet.voice1), was.sources1),
        2: (tones(now.sheet.voice2), was.sources2),
    }
    for row, (cells, others) in enumerate(
        ((sheet.drums, (0,)), (sheet.voice1, (1, 2)), (sheet.voice2, (2, 1)))
    ):
        sounds = cells if row == 0 else tones(cells)
        own: list[int | None] = []
        for step, sound in enumerate(sounds):
            before = places.to_now[step]
            same = [played[r][1][before] for r in others if played[r][0][before] == sound]
            own.append(-1 if sound is None else same[0] if before >= 0 and same else None)
        starts = [n for n, cell in enumerate(cells) if row == 0 or cell != HOLD] + [len(cells)]
        for first, end in pairwise(starts):
            tone = own[first:end]
            for n in range(1, len(tone)):
                tone[n] = tone[n - 1] if tone[n] is None else tone[n]
            for n in range(len(tone) - 2, -1, -1):
                tone[n] = tone[n + 1] if tone[n] is None else tone[n]
            assert found[row][first:end] == [hand if note is None else note for note in tone]


@pytest.mark.parametrize("number", range(5 * len(SONGS)))
def test_bars_and_passages_have_the_sheets_numbers_and_the_songs_beside_them(number: int) -> None:
    song, merged = merges()[number]
    now = converted(song, 0)
    grid = _grid(now, merged, _places(now.sheet, merged))
    songs = [None if each.now is None else now.grid.bars[each.now].number for each in merged.bars]
    for bar, number_there, written in zip(grid.bars, songs, merged.sheet.bars, strict=True):
        assert (bar.number, bar.steps) == (written.number, written.steps)
        assert bar.in_song == (number_there is not None)
        assert bar.song_number == (None if number_there == bar.number else number_there)
    whole = now.reduction.passages[0]
    numbers = [bar.number for bar in now.grid.bars]
    threes = [numbers[at : at + 3] for at in range(0, len(numbers), 3)]
    given = tuple(whole._replace(first_bar=three[0], last_bar=three[-1]) for three in threes)
    here, runs = 0, []  # of each bar: which passage it is in, its number and the song's
    for origin, bar, number_there in zip(merged.bars, grid.bars, songs, strict=True):
        here = here if origin.now is None else origin.now // 3
        runs.append((here, bar.number, number_there))
    wanted = []
    for _, run in groupby(runs, key=itemgetter(0)):
        bars = list(run)
        there = [each for _, _, each in bars if each is not None]
        ends = (bars[0][1], bars[-1][1])
        rises = bool(there) and there == sorted(there) and (there[0], there[-1]) != ends
        wanted.append((*ends, *((there[0], there[-1]) if rises else (None, None))))
    found = passages_of(given, now.grid, grid, merged)
    assert [(p.first_bar, p.last_bar, p.song_first_bar, p.song_last_bar) for p in found] == wanted
    assert passages_of((), now.grid, grid, merged) == ()


@pytest.mark.parametrize("number", [1, 2, 3, 8])
def test_the_hand_is_a_note_more_that_asks_for_nothing(number: int) -> None:
    song, merged = merges()[number]
    now = converted(song, 0)
    places = _places(now.sheet, merged)
    grid = _grid(now, merged, places)
    was = what_was_asked(now)
    asked = _moved(was, places, grid)
    onsets, ends, note_ends = _stretches(was, places)
    assert [*asked.onset] == [*onsets, -1]
    assert [*asked.end] == [*ends, -1]
    assert [*asked.note_end] == [*note_ends, -1]
    left = [was.written_end[n] - was.note_end[n] for n in range(len(onsets))]
    late = [end - stop for end, stop in zip(asked.written_end, asked.note_end, strict=True)]
    assert late == pytest.approx([*left, 0.0])
    assert asked.written_end[-1] == -1.0
    for row, before, last in (
        (asked.rings, was.rings, 0.0), (asked.offset, was.offset, 0.0), (asked.pitch, was.pitch, -1),
        (asked.out, was.out, -1), (asked.part, was.part, -1), (asked.drum, was.drum, False),
        (asked.sound, was.sound, None), (asked.lead, was.lead, len(onsets)),
        (asked.octave_of, was.octave_of, -1), (asked.duplicate_of, was.duplicate_of, -1),
        (asked.tune, was.tune, False),
    ):  # fmt: skip
        assert [*row] == [*before, last]  # type: ignore[misc]
    turning = [[True] * now.sheet.steps, [step == 0 for step in range(now.sheet.steps)]]
    told = _moved(was._replace(turning=turning), places, grid).turning
    assert told[0] == [step >= 0 for step in places.to_now]
    assert told[1] == [step == 0 for step in places.to_now]


def test_an_entry_of_the_machine_stays_where_its_note_is_heard_as_it_was() -> None:
    """Moved by two steps; note 9 is the hand."""
    now = converted(0, 0)
    places = _places(now.sheet, merge(now.sheet, now.sheet))
    places = places._replace(to_merged=[-1, -1, 0, 1, 2, 3, -1])
    was = Entry(5, "changed", ("octave",), (Span(1, 2, 2),), 60, (3,), None, 0.25)
    same = Entry(5, "changed", ("other",), (Span(1, 0, 2),), 60, (9, 4), None, 0.5)
    assert _entry(was, same, places, 9) == was._replace(spans=same.spans, late_seconds=0.5)
    early = same._replace(late_seconds=-0.125)
    assert _entry(was, early, places, 9).late_seconds == 0.0
    for change in ({"outcome": "kept"}, {"pitch_out": 72}, {"spans": (Span(2, 0, 2),)}, {"spans": (Span(1, 0, 1),)}):  # fmt: skip
        by_hand = same._replace(**change)  # type: ignore[arg-type]
        expected = by_hand._replace(outcome="changed", reasons=("by-hand", "other"), by=(4,))
        assert _entry(was, by_hand, places, 9) == expected
    merged = same._replace(outcome="merged")
    assert _entry(was, merged, places, 9).outcome == "merged"
    gone = same._replace(outcome="dropped", spans=(), pitch_out=None)
    assert _entry(was, gone, places, 9) == Entry(5, "dropped", ("by-hand", "octave"), (), None, ())


def test_a_drum_by_hand_is_for_a_silent_note_that_asks_for_it() -> None:
    """By itself, or in a joint sound that says it; on the note's step alone."""
    kit = [(0, 0.25, 36), (4, 0.25, 38)]
    song = song_of([(n, 1, 60) for n in range(8)], kit, drums=frozenset({1}))
    settings = Settings(grid=GridSettings(step=Fraction(1)), reduce=ReduceSettings(drums="none"))
    now = convert(song, load_engine("twin-phase"), settings)
    kick, snare = (note.id for note in now.song.notes if note.drum)
    for sounds, heard in (
        ({}, set()), ({0: "kick", 4: "snare"}, {kick, snare}), ({0: "snare", 1: "kick"}, set()),
        ({0: "kick-snare", 4: "kick-snare"}, {kick, snare}), ({0: "hat", 4: "snare"}, {snare}),
    ):  # fmt: skip
        row = tuple(sounds.get(step) for step in range(now.sheet.steps))
        found = revise(now, merge(replace(now.sheet, drums=row), now.sheet)).reduction
        entries = found.ledger.entries
        assert {note for note in (kick, snare) if entries[note].spans} == heard
        for note in heard:
            step = 0 if note == kick else 4
            assert found.drum_sources[step] == note
            assert entries[note].reasons[0] == "by-hand"
        assert sum(note >= 0 for note in found.drum_sources) == len(heard)


def test_a_song_follows_the_step_of_the_edited_sheet_where_none_was_asked_for() -> None:
    now = converted(0, 0)
    step = now.sheet.step_beats
    for other, again in ((step, False), (2 * step, False), (step / 2, True), (2 * step / 3, True)):
        edited = replace(now.sheet, step_beats=other)
        found = _in_step_with(now, edited)
        assert (found is not now) == again
        assert found.sheet.step_beats == (other if again else step)
        grid = replace(now.settings.grid, step=step)
        asked = replace(now, settings=replace(now.settings, grid=grid))
        assert _in_step_with(asked, edited) is asked


def test_a_note_whose_first_steps_were_taken_out_starts_with_the_first_that_is_left() -> None:
    """Bars of two steps; a line goes through all of them, the note itself through two."""
    now = converted(0, 0)
    asked = what_was_asked(now)._replace(onset=[0, 2, 5], end=[8, 4, 6], note_end=[4, 4, 6])
    places = _places(now.sheet, merge(now.sheet, now.sheet))
    to = [-1, -1, 0, 1, -1, -1, 2, 3]
    places = places._replace(to_merged=[*to, -1], to_now=[2, 3, 6, 7])
    assert _stretches(asked, places) == ([0, 0, -1], [4, 2, 0], [2, 2, 0])


def test_a_tone_by_hand_is_for_a_silent_note_of_its_pitch_or_else_of_its_octaves() -> None:
    """The middle part is left out of two voices; its E4 is wanted on the first step, its F4 on the second."""
    settings = Settings(
        grid=GridSettings(step=Fraction(1)), reduce=ReduceSettings(tune="tune", bass="bass")
    )
    now = convert(read_song_bytes(three_parts(), "x.mid"), load_engine("twin-phase"), settings)
    middle = [note.id for note in now.song.notes if now.song.parts[note.part].name == "middle"]
    tune, bass = list(now.sheet.voice1), list(now.sheet.voice2)
    for voice1, voice2, heard in (
        ((64, 65), (), {0: (1, 64), 1: (1, 65)}),
        ((52, 77), (), {0: (1, 52), 1: (1, 77)}),
        ((52,), (64,), {0: (2, 64)}),
        ((52,), (40,), {0: (1, 52)}),
        ((53, 64), (), {}),  # each a step beside its note
    ):
        edited = replace(
            now.sheet,
            voice1=(*voice1, *tune[len(voice1) :]),
            voice2=(*voice2, *bass[len(voice2) :]),
        )
        revised = revise(now, merge(edited, now.sheet))
        entries = [revised.reduction.ledger.entries[note] for note in middle[:2]]
        found = {
            at: (entry.spans[0].voice, entry.pitch_out)
            for at, entry in enumerate(entries)
            if entry.spans
        }
        assert found == heard
        assert all(entry.spans[0].step == at for at, entry in enumerate(entries) if entry.spans)
        others = len(voice1) + len(voice2) - len(heard)
        told = [each for each in revised.reduction.remarks if "doesn't have" in each]
        counted = "1 tone" if others == 1 else f"{others} tones"
        assert told == ([f"{counted} by hand that the song doesn't have"] if others else [])
