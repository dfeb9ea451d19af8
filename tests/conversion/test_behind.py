"""The song behind a sheet: where it is, how it is converted, which of its bars are in the sheet."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

import pytest

from arranger.conversion import convert, measure_of
from arranger.conversion.behind import Behind, find_song, in_sheet, open_behind
from arranger.conversion.weigh_sheet import weigh_sheet_bar
from arranger.engine import load_engine
from arranger.errors import SettingsError, SheetError
from arranger.machine.size import song_bytes
from arranger.rows import REST
from arranger.settings import GridSettings, Settings
from arranger.sheet import write_sheet
from arranger.sheet.bar_edits.structure import copy_bars, delete_bars, insert_bars
from arranger.sheet.bar_edits.which_bars import Chosen
from arranger.sheet.form.as_bars import settled
from arranger.song import read_song
from tests.sheet.test_by_hand import three_parts
from tests.sound.sheets import sheet_of

if TYPE_CHECKING:
    from pathlib import Path

    from arranger.conversion import Conversion
    from arranger.sheet import Sheet

ENGINE = load_engine("twin-phase")
SETTINGS = Settings(grid=GridSettings(step=Fraction(1, 2)))


@pytest.fixture
def song(tmp_path: Path) -> Path:
    path = tmp_path / "quay" / "x.mid"
    path.parent.mkdir()
    path.write_bytes(three_parts())
    return path


def made(song: Path) -> Conversion:
    return convert(read_song(song), ENGINE, SETTINGS)


def test_the_song_is_found_beside_the_sheet_above_it_or_where_the_program_runs(
    song: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sheet = made(song).sheet
    top = song.parent.parent
    monkeypatch.chdir(top)
    far = top / "far" / "off" / "x.duet"
    assert find_song(song.with_name("x.duet"), sheet) == song
    assert find_song(song.parent / "sheets" / "x.duet", sheet) == song
    with pytest.raises(SheetError, match=r"the song x\.mid that the sheet was made from is not"):
        find_song(far, sheet)
    assert find_song(far, sheet, song.parent) == song
    assert find_song(far, replace(sheet, source_file="D:\\old\\x.mid"), song.parent) == song
    with pytest.raises(SheetError, match="not beside it; name it, or its folder, with --song"):
        find_song(song.with_name("x.duet"), sheet, top)
    assert find_song(far, sheet, top / "other.mid") == top / "other.mid", "whatever was named"
    monkeypatch.chdir(song.parent)
    found = find_song(far, sheet)
    assert found is not None
    assert found.resolve() == song
    assert find_song(far, replace(sheet, source_file="")) is None
    assert find_song(far, replace(sheet, source_file=""), song) is None


def test_a_song_is_converted_in_the_step_of_its_sheet(song: Path) -> None:
    sheet = made(song).sheet
    path = song.with_name("x.duet")
    behind = open_behind(path, sheet, song)
    assert (behind.path, behind.source) == (path, song)
    assert behind.conversion.sheet == sheet
    assert [*behind.asked.onset] == behind.conversion.grid.onset_steps.tolist()
    finer = replace(sheet, step_beats=Fraction(1, 4))
    assert open_behind(path, finer, song).conversion.sheet.step_beats == Fraction(1, 4)
    assert behind.fits(sheet)
    for change in ({"step_beats": Fraction(1)}, {"engine": "y"}, {"settings": ""}, {"source_sha256": "0"}):  # fmt: skip
        assert not behind.fits(replace(sheet, **change)), change
    with pytest.raises(SheetError, match="is not the file that the sheet was made from"):
        open_behind(path, replace(sheet, source_sha256="0" * 64), song)
    unsigned = replace(sheet, source_sha256="")
    assert open_behind(path, unsigned, song).conversion.sheet.voice1 == sheet.voice1


def test_a_sheet_without_a_song_is_its_own(tmp_path: Path) -> None:
    path = tmp_path / "x.duet"
    rests = [REST] * 3
    for rows in (([60, *rests], None, None), (rests, [43, 43, 43], None), (rests, None, ["kick", None, None])):  # fmt: skip
        sheet = sheet_of(ENGINE, *rows)  # type: ignore[arg-type]
        behind = open_behind(path, sheet, None)
        assert not behind.fits(sheet)
        found = in_sheet(behind, sheet)
        assert found.edited == [()]
        assert found.conversion.sheet == sheet
        assert (found.conversion.reduction.voice1, found.conversion.reduction.voice2) == (
            sheet.voice1, sheet.voice2,
        )  # fmt: skip
        entries = found.conversion.reduction.ledger.entries
        assert all(entry.outcome in ("kept", "merged") for entry in entries)
    with pytest.raises(SheetError, match="nothing sounds in it yet"):
        open_behind(path, sheet_of(ENGINE, rests), None)


def numbers(behind: Behind, sheet: Sheet) -> list[tuple[int, int | None, bool]]:
    """Return the bars as they are told: number, the song's where it is another, in the song or not."""
    bars = in_sheet(behind, sheet).conversion.grid.bars
    return [(bar.number, bar.song_number, bar.in_song) for bar in bars]


def test_bars_of_the_sheet_are_found_in_the_song(song: Path) -> None:
    sheet = made(song).sheet
    behind = open_behind(song.with_name("x.duet"), sheet, song)
    assert numbers(behind, sheet) == [(1, None, True), (2, None, True)]
    without = settled(delete_bars(sheet, Chosen(0, 1)).sheet)
    assert numbers(behind, without) == [(1, 2, True)]
    more = settled(insert_bars(sheet, 1, 1).sheet)
    assert numbers(behind, more) == [(1, None, True), (2, None, False), (3, 2, True)]
    changed = replace(sheet, voice2=(60, *sheet.voice2[1:]))
    assert in_sheet(behind, changed).edited == [(2,), ()]
    bare = replace(sheet, generated=None)
    assert in_sheet(behind, bare).edited == [(), ()]
    assert numbers(behind, bare) == [(1, None, True), (2, None, True)]
    twice = replace(bare, bars=tuple(bar._replace(number=2) for bar in bare.bars))
    assert [bar.in_song for bar in in_sheet(behind, twice).conversion.grid.bars] == [True, False]


def test_what_rows_take_is_what_their_sheet_takes(song: Path) -> None:
    found = made(song)
    sheet = found.sheet
    for loop in (None, 3):
        grid = replace(found.grid, loop_step=loop)
        told = measure_of(ENGINE, grid)((sheet.voice1, sheet.voice2), sheet.drums)
        assert told == song_bytes(replace(sheet, loop_step=loop), ENGINE)


def test_bars_of_a_sheet_are_weighed_as_the_song_has_them(song: Path) -> None:
    sheet = made(song).sheet
    path = song.with_name("x.duet")
    write_sheet(sheet, path)
    plain = weigh_sheet_bar(path, 2, song=None, most=1)
    assert (plain.bar, plain.song_bar, len(plain.others)) == (2, 2, 1)
    write_sheet(settled(insert_bars(sheet, 1, 1).sheet), path)
    moved = weigh_sheet_bar(path, 3, song=None, most=2)
    assert (moved.bar, moved.song_bar, len(moved.others)) == (3, 2, 2)
    assert (moved.held, moved.terms) == (plain.held, plain.terms)
    two = settled(copy_bars(sheet, Chosen(1, 2), 2, linked=True).sheet)
    write_sheet(two, path)
    with pytest.raises(SettingsError, match="it is as bar 2: ask for that"):
        weigh_sheet_bar(path, 3, song=None, most=1)
    write_sheet(replace(sheet, source_file="D:\\old/x.mid"), path)
    assert weigh_sheet_bar(path, 2, song=None, most=1) == plain
    write_sheet(settled(insert_bars(sheet, 1, 1).sheet), path)
    with pytest.raises(SettingsError, match=r"bar 2 was put in by hand, .*; ask for a bar that"):
        weigh_sheet_bar(path, 2, song=None, most=1)
    with pytest.raises(SettingsError, match="there is no bar 4; the sheet has bars 1 to 3"):
        weigh_sheet_bar(path, 4, song=None, most=1)
    write_sheet(replace(sheet, source_file="y.mid"), path)
    with pytest.raises(SheetError, match=r"the song y\.mid is not beside the sheet"):
        weigh_sheet_bar(path, 1, song=None, most=1)
    assert weigh_sheet_bar(path, 1, song=song, most=1).bar == 1
    write_sheet(replace(sheet, source_file=""), path)
    with pytest.raises(SheetError, match="names no song that it was made from"):
        weigh_sheet_bar(path, 1, song=song, most=1)
