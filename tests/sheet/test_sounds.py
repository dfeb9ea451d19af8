"""Drum sounds of a sheet's own: read, checked, and played like an engine's."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction
from functools import cache
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.conversion import convert
from arranger.conversion.by_hand import with_edits
from arranger.engine import load_engine, parse_engine
from arranger.engine.load import builtin_text
from arranger.errors import SheetError
from arranger.machine.export_options import ExportOptions
from arranger.machine.exporters import EXPORTERS, export
from arranger.report import html_page
from arranger.rows import HOLD, REST
from arranger.settings import Settings
from arranger.sheet import (
    Comment,
    Sheet,
    SheetBar,
    format_sheet,
    is_edited,
    parse,
    with_digest,
    write_sheet,
)
from arranger.sheet.check import check_text
from arranger.sheet.compare import Side, compare
from arranger.sheet.excerpt import cut_bars, first_bars, go_round
from arranger.sheet.form.header_values import MOST_SOUNDS
from arranger.sheet.form.parse import scan
from arranger.sheet.merging.merge import merge
from arranger.sheet.merging.refit import in_steps_of
from arranger.sheet.merging.spread import spread_edits
from arranger.sheet.model import SheetSound, SoundPart
from arranger.sheet.sounds import sounds_of
from arranger.song import read_song_bytes
from arranger.sound.signal import edges
from tests.report.pages import data_of
from tests.song.midi_bytes import QUARTER_C4, header, track

from .playable import ENGINES, own_sounds

if TYPE_CHECKING:
    from pathlib import Path

    from arranger.engine.model import DrumSound, Engine

HEAD = """\
arranger-sheet 1
engine    twin-phase
step      1/2 beat
length    4114
{}
bar 1 2/4
  voice 1   C4  -   .   E4
  drums     .   {}  .   .
"""
"""The lines of the header below `length` have number 5 and on."""
CLANK = SheetSound(
    "clank", (SoundPart("noise", (354,), 20_000), SoundPart("kick", (4956, 1180), 12_500))
)


def test_a_line_of_the_header_defines_a_sound() -> None:
    text = HEAD.format(
        "drum      clank: noise 354 for 20 ms, then kick 4956 1180 for 12.5 ms", "clank"
    )
    sheet = parse(text)
    assert sheet.sounds == (CLANK,)
    assert text.splitlines()[4] in format_sheet(sheet).splitlines()
    assert check_text(text, load_engine).problems == []


def test_a_sound_may_be_silence() -> None:
    text = HEAD.format("drum      gap: rest for 12 ms", "gap")
    sheet = parse(text)
    assert sheet.sounds == (SheetSound("gap", (SoundPart("rest", (), 12_000),)),)
    assert text.splitlines()[4] in format_sheet(sheet).splitlines()
    assert check_text(text, load_engine).problems == []


@pytest.mark.parametrize(
    "typed",
    [
        "DRUM Clank:Noise 354 for 20ms then Kick 4956   1180 for 12.500 MS",
        "drum clank :  noise 354 for 20.0 ms ,then kick 4956 1180 for 12.5ms   # metal",
    ],
)
def test_a_sound_may_be_typed_roughly(typed: str) -> None:
    assert parse(HEAD.format(typed, "clank")).sounds == (CLANK,)


@pytest.mark.parametrize(
    ("line", "code", "what", "remedy"),
    [
        ("drum clank noise 354", "drum-line", "no colon", "drum clank: noise 354 for 20 ms"),
        ("drum 2x: noise 354", "drum-line", "'2x' can't be the name", "write like"),
        ("drum x: nois 354", "drum-kind", "of the kind 'nois'", "did you mean 'noise'"),
        ("drum x: bell 354", "drum-kind", "of the kind 'bell'", "choose from kick, noise"),
        ("drum x: noise", "drum-part", "'noise' is no part", "noise 354 for 20 ms"),
        ("drum x: rest 5 for 9 ms", "drum-part", "'rest 5 for 9 ms' is no part", "noise 354"),
        ("drum x:", "drum-part", "'' is no part", "noise 354 for 20 ms"),
        ("drum x: noise 354 for 20 s", "drum-part", "is no part", "for 20 ms"),
        ("drum x: noise 354 for 20 ms then", "drum-part", "is no part", "for 20 ms"),
        ("drum x: noise -3", "drum-part", "is no part", "for 20 ms"),
        ("drum x: noise 354 for 0 ms", "drum-length", "no time", "0.001 to 10,000 ms"),
        ("drum x: noise 354 for 10001 ms", "drum-length", "so long", "0.001 to 10,000 ms"),
        ("drum x: noise 354, then noise 118", "drum-line", "isn't heard", "how long it sounds"),
        ("drum x: " + ", then ".join(["noise 354 for 1 ms"] * 5), "drum-line", "5 parts", "4"),
        ("drum x: noise 354\ndrum X: noise 118", "twice", "drum x stands twice", "rename"),
        ("drum x: noise 354 118", "drum-unplayable", "a noise needs 1 setting:", "clock cycles"),
        ("drum x: kick 354 for 1 ms", "drum-unplayable", "a kick needs 2 settings", "cycles"),
        ("drum x: noise 300 for 1 ms", "drum-unplayable", "drums in passes", "multiples of 118"),
        ("drum x: kick 11800 11800 for 90 ms", "drum-unplayable", "300 passes", "grow less"),
        ("drum x: noise 30208", "drum-unplayable", "256 passes", "grow less"),
    ],
)  # fmt: skip
def test_a_wrong_line_is_told_with_its_place(line: str, code: str, what: str, remedy: str) -> None:
    checked = check_text(HEAD.format(line, "."), load_engine)
    problem = checked.problems[0]
    assert (problem.severity, problem.code) == ("error", code)
    assert problem.line == 5 + line.count("\n")
    assert what in problem.what
    assert remedy in problem.remedy
    assert len(checked.problems) == 1


def test_a_line_below_a_bar_or_too_many_are_refused() -> None:
    below = HEAD.format("", ".") + "drum x: noise 354\n"
    with pytest.raises(SheetError, match=r"drum stands below a bar.*or write drums"):
        parse(below)
    lines = [f"drum d{number}: noise 118" for number in range(MOST_SOUNDS + 1)]
    with pytest.raises(SheetError, match=f"more than {MOST_SOUNDS} drum sounds"):
        parse(HEAD.format("\n".join(lines), "."))
    assert len(parse(HEAD.format("\n".join(lines[:-1]), ".")).sounds) == MOST_SOUNDS


def test_a_misspelt_own_sound_is_offered() -> None:
    (problem,) = check_text(HEAD.format("drum clank: noise 354", "clunk"), load_engine).problems
    assert (problem.code, problem.remedy) == ("unknown-drum", "did you mean 'clank'?")


def test_comments_stay_on_the_lines_of_the_sounds() -> None:
    lines = "# above\ndrum a: noise 118   # beside a\ndrum b: noise 236   # beside b\n# end\n"
    sheet = parse(HEAD.format(lines, "a"))
    tidied = format_sheet(sheet)
    assert (
        "# above\ndrum      a: noise 118   # beside a\ndrum      b: noise 236   # beside b\n# end\n"
    ) in tidied
    assert parse(tidied) == sheet


# --- what is heard ---


@cache
def engine_named(name: str) -> Engine:
    return load_engine(name)


def with_built_in(name: str, sounds: tuple[DrumSound, ...]) -> Engine:
    """Return an engine of a file that has some sounds, in place of those of the same name."""
    head, *tables = builtin_text(name).split("[[drum]]")
    named = {sound.name for sound in sounds}
    kept = [table for table in tables if table.split('name = "')[1].split('"')[0] not in named]
    added = []
    for sound in sounds:
        (kind, settings_, cycles), *then = sound.parts
        more = ", ".join(
            f'{{kind = "{part.kind}", settings = {list(part.settings)}, cycles = {part.cycles}}}'
            for part in then
        )
        added.append(
            f'\nname = "{sound.name}"\nkind = "{kind}"\npercussion_keys = []\nweight = 0.5\n'
            f"settings = {list(settings_)}\ncycles = {cycles}\nthen = [{more}]\n"
        )
    return parse_engine("[[drum]]".join([head, *kept, *added]))


@st.composite
def drummed(draw: st.DrawFn) -> Sheet:
    name = draw(st.sampled_from(ENGINES))
    engine = engine_named(name)
    own = draw(own_sounds(engine))
    names = [None, "snare", *(sound.name for sound in own)]
    steps = 8
    cell = st.sampled_from([60, 67, HOLD, REST])
    return Sheet(
        title="",
        engine=name,
        step_beats=Fraction(1, 2),
        length=draw(st.sampled_from(engine.step_lengths)).setting,
        bars=(SheetBar(1, steps, 4, 4),),
        voice1=draw(st.lists(cell, min_size=steps, max_size=steps).map(tuple)),
        voice2=draw(st.lists(cell, min_size=steps, max_size=steps).map(tuple)),
        drums=draw(st.lists(st.sampled_from(names), min_size=steps, max_size=steps).map(tuple)),
        sounds=own,
    )


def pin(sheet: Sheet, engine: Engine) -> list[tuple[int, int]]:
    """Return each change of the pin: its cycle, and the level after it."""
    return [
        change
        for cycles, levels in edges(sheet, engine)
        for change in zip(cycles.tolist(), levels.tolist(), strict=True)
    ]


@settings(max_examples=40, deadline=None)
@given(drummed())
def test_it_sounds_as_an_engine_that_has_the_sound_built_in(sheet: Sheet) -> None:
    """Change by change. Lengths are compared with milliseconds times the clock, by hand."""
    engine = engine_named(sheet.engine)
    sounds = sounds_of(sheet, engine)
    for own in sheet.sounds:
        for part, made in zip(own.parts, sounds[own.name].parts, strict=True):
            wanted = part.microseconds * engine.clock_hz / 1e6
            unit = 118 if engine.profile.player else 1
            assert made.cycles % unit == 0
            assert abs(made.cycles - wanted) <= max(unit / 2, 1)
    built_in = with_built_in(sheet.engine, tuple(sounds[own.name] for own in sheet.sounds))
    plain = replace(sheet, sounds=())
    assert pin(sheet, engine) == pin(plain, built_in)


def test_an_own_sound_goes_before_the_engines_of_the_same_name() -> None:
    engine = engine_named("twin-phase")
    sheet = parse(HEAD.format("drum kick: noise 1180 for 5 ms\ndrum a: noise 118", "kick"))
    sounds = sounds_of(sheet, engine)
    assert list(sounds) == [*(drum.name for drum in engine.drums), "a"]
    assert sounds["kick"].parts[0].kind == "noise"
    assert sounds["kick"].percussion_keys == (35, 36)
    assert sounds["a"].percussion_keys == ()


@pytest.mark.parametrize("format_", sorted(EXPORTERS))
@pytest.mark.parametrize("name", ENGINES)
def test_every_export_knows_them(name: str, format_: str) -> None:
    """What an export gives is what it gives for an engine that has the sound built in."""
    engine = engine_named(name)
    settings_ = (500, 300) if engine.method == "alternate" else (590,)
    own = (SheetSound("clank", (SoundPart("noise", settings_, 10_000),)),)
    sheet = Sheet(
        title="Clank",
        engine=name,
        step_beats=Fraction(1, 2),
        length=engine.nearest_step_length(0.2).setting,
        bars=(SheetBar(1, 4, 2, 4),),
        voice1=(60, HOLD, REST, 62),
        voice2=(REST, 43, HOLD, HOLD),
        drums=("clank", None, "snare", "clank"),
        sounds=own,
    )
    built_in = with_built_in(name, (sounds_of(sheet, engine)["clank"],))

    plain = export(replace(sheet, sounds=()), built_in, format_, ExportOptions())
    given = export(sheet, engine, format_, ExportOptions())
    if format_ == "midi":  # the mark tells what the sheet defines
        assert given != plain
        song = read_song_bytes(given, "clank.mid")
        assert convert(song, engine, Settings(engine=name)).sheet.sounds == own
    else:
        assert given == plain


def test_a_sound_that_the_engine_cannot_play_is_refused() -> None:
    sheet = parse(HEAD.format("drum clank: noise 300 for 20 ms", "clank"))
    with pytest.raises(SheetError, match="drum clank: twin-phase can't play it: the Z80 player"):
        pin(sheet, engine_named("twin-phase"))


# --- edits ---


def generated(tmp_path: Path) -> tuple[Path, Sheet]:
    """Return a path and what a conversion writes there."""
    song = read_song_bytes(header(0, 1) + track(QUARTER_C4), "song.mid")
    found = convert(song, engine_named("twin-phase"), Settings())
    return tmp_path / "song.duet", found.sheet


def test_a_sheet_without_sounds_has_the_digests_that_it_had_before() -> None:
    sheet = with_digest(parse(HEAD.format("", "kick")))
    assert sheet.digest == "00412764afedc785"


def test_a_sound_is_an_edit_and_survives_a_new_conversion(tmp_path: Path) -> None:
    path, sheet = generated(tmp_path)
    assert not is_edited(parse(format_sheet(sheet)))
    edited = replace(sheet, sounds=(CLANK,), comments=(Comment(-1, "metal", 10, True),))
    assert is_edited(edited)
    write_sheet(edited, path)
    song = read_song_bytes(header(0, 1) + track(QUARTER_C4), "song.mid")
    now = convert(song, engine_named("twin-phase"), Settings())
    again, merged = with_edits(now, path)
    assert merged is not None
    assert again.sheet.sounds == (CLANK,)
    assert "12.5 ms   # metal" in format_sheet(again.sheet)
    assert is_edited(again.sheet)
    assert "clank" in json.dumps(data_of(html_page(again)))


def test_sounds_of_hand_and_conversion_are_joined() -> None:
    """Each by its name: the hand's where it changed it; what is no longer generated stays if played."""
    gong = SheetSound("gong", (SoundPart("noise", (1180,), 0),))
    clank = SheetSound("clank", (SoundPart("noise", (118,), 1000),))
    base = parse(HEAD.format("", "clank"))
    was = with_digest(replace(base, sounds=(clank, gong)))
    assert parse(format_sheet(was)) == was
    now = with_digest(replace(base, sounds=(CLANK,)))
    assert merge(was, now).sheet == now
    without = with_digest(replace(base, sounds=()))
    assert merge(was, without).sheet.sounds == (clank,)
    by_hand = replace(was, sounds=(replace_part(clank), gong))
    merged = merge(by_hand, now)
    assert merged.sheet.sounds == (replace_part(clank),)
    assert merge(replace(was, sounds=(clank, replace_part(gong))), now).sheet.sounds == (
        CLANK,
        replace_part(gong),
    )
    assert merge(replace(was, sounds=(gong,)), was).sheet.sounds == (gong,)
    assert merge(merged.sheet, now).sheet == merged.sheet
    other = with_digest(replace(now, engine="twin-counter"))
    (conflict,) = merge(by_hand, other).conflicts
    assert "drum sounds are for another engine" in conflict.what


def replace_part(sound: SheetSound) -> SheetSound:
    return sound._replace(parts=(sound.parts[0]._replace(microseconds=3000),))


def test_copies_of_a_sheet_keep_its_sounds() -> None:
    sheet = with_digest(parse(HEAD.format("drum clank: noise 354 for 20 ms", "clank")))
    copies = (
        cut_bars(sheet, 1, 1),
        first_bars(sheet, 1),
        go_round(sheet, 2),
        spread_edits(sheet).sheet,
        in_steps_of(sheet, Fraction(1, 4)).sheet,
    )
    assert all(copy.sounds == sheet.sounds for copy in copies)


def test_a_comparison_tells_sounds_that_differ() -> None:
    engine = engine_named("twin-phase")
    left = parse(HEAD.format("drum a: noise 118\ndrum b: noise 118", "a"))
    right = parse(HEAD.format("drum b: noise 236\ndrum c: noise 118\ndrum a: noise 118", "a"))
    found = compare(Side(left, engine, 0), Side(right, engine, 0), None)
    assert found.header == (
        ("drum", "b: noise 118", "b: noise 236"),
        ("drum", "", "c: noise 118"),
    )


words = st.sampled_from(
    ["clank", ":", "noise", "kick", "354", "0", "1180", "for", "20", "12.5", "ms", ",", "then", "#"]
)


@given(st.lists(words | st.text(max_size=3), max_size=12).map(" ".join))
def test_any_line_is_read_or_told(typed: str) -> None:
    """And what is read is written so that it is read again."""
    line = "drum " + " ".join(typed.split())
    found = scan(HEAD.format(line, "."))
    assert bool(found.sheet.sounds) != bool(found.problems)
    assert len(found.sound_lines) == len(found.sheet.sounds)
    if found.sheet.sounds:
        assert parse(format_sheet(found.sheet)) == found.sheet
