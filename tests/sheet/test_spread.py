"""Spreading an edit to the bars that were generated alike."""

from __future__ import annotations

import random
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arranger.errors import SheetError
from arranger.rows import HOLD, REST, tones
from arranger.sheet import Sheet, SheetBar, format_sheet, parse, with_digest
from arranger.sheet.merging.spread import spread_edits
from tests.sheet.edits import contents, generated, random_content

if TYPE_CHECKING:
    from pathlib import Path


def sheet_of(*pitches: int) -> Sheet:
    """Return a generated sheet with a bar of four equal tones for each pitch."""
    cells = tuple(pitch for pitch in pitches for _ in range(4))
    return with_digest(
        Sheet(
            title="refrain",
            engine="twin-phase",
            step_beats=Fraction(1),
            length=14790,
            bars=tuple(SheetBar(number + 1, 4, 4, 4) for number in range(len(pitches))),
            voice1=cells,
            voice2=(REST,) * len(cells),
            drums=(None,) * len(cells),
        )
    )


def with_cell(sheet: Sheet, step: int, pitch: int) -> Sheet:
    return replace(sheet, voice1=(*sheet.voice1[:step], pitch, *sheet.voice1[step + 1 :]))


def test_an_edit_reaches_the_bars_that_were_alike_and_no_others() -> None:
    edited = with_cell(sheet_of(60, 62, 60, 64, 60), 9, 67)
    found = spread_edits(edited)
    assert found.copied == ((2, (0, 4), "voice1"),)
    rows = [bar[0] for bar in contents(found.sheet)]
    assert rows == [(60, 67, 60, 60), (62,) * 4, (60, 67, 60, 60), (64,) * 4, (60, 67, 60, 60)]
    assert spread_edits(found.sheet).copied == ()


def test_different_edits_of_alike_bars_are_left_and_named() -> None:
    edited = with_cell(with_cell(sheet_of(60, 60, 60), 1, 67), 5, 65)
    found = spread_edits(edited)
    assert found.sheet == edited
    assert found.differing == (((0, 1), "voice1"),)


def test_rows_are_spread_each_for_itself() -> None:
    """Bars 1, 3 and 5 were alike; bars 2 and 4 had the same drums as all others."""
    sheet = sheet_of(60, 62, 60, 64, 60)
    edited = with_cell(with_cell(sheet, 1, 67), 9, 65)  # bars 1 and 3: the tune in different ways
    edited = replace(edited, drums=(*[None] * 8, "kick", *[None] * 11))
    found = spread_edits(edited)
    assert found.copied == ((2, (0, 4), "drums"),)
    assert found.differing == (((0, 2), "voice1"),)
    assert found.sheet.voice1 == edited.voice1
    kick = ("kick", None, None, None)
    assert [bar[2] for bar in contents(found.sheet)] == [kick, (None,) * 4, kick, (None,) * 4, kick]
    everywhere = spread_edits(edited, "drums")
    assert everywhere.copied == ((2, (0, 1, 3, 4), "drums"),)
    assert everywhere.differing == ()
    assert everywhere.sheet.drums == kick * 5
    assert spread_edits(edited, "voice2").copied == ()
    assert spread_edits(everywhere.sheet, "drums").copied == ()


def test_an_edit_that_is_spread_to_bars_as_others_writes_them_out_where_they_differ() -> None:
    sheet = sheet_of(60, 60, 60)
    bars = (*sheet.bars[:2], sheet.bars[2]._replace(as_bar=0))
    edited = with_cell(with_digest(replace(sheet, bars=bars)), 5, 67)
    found = spread_edits(edited).sheet
    assert found.voice1 == (60, 67, 60, 60) * 3
    assert found.bars == edited.bars
    row = spread_edits(edited, "voice1").sheet
    assert parse(format_sheet(row)) == row


def test_a_sheet_by_hand_is_refused() -> None:
    with pytest.raises(SheetError, match="no record of what was generated"):
        spread_edits(replace(sheet_of(60), generated=None, digest=""))


def sounding(sheet: Sheet) -> list[tuple[list[int | None], list[int | None]]]:
    """Return the pitches that each bar's voices hold, step by step."""
    rows, found, start = (tones(sheet.voice1), tones(sheet.voice2)), [], 0
    for bar in sheet.bars:
        end = start + bar.steps
        found.append((rows[0][start:end], rows[1][start:end]))
        start = end
    return found


def holding(*bars: tuple[int, ...]) -> Sheet:
    """Return a generated sheet with these bars of four cells in voice 1."""
    plain = sheet_of(*range(60, 60 + len(bars)))
    cells = tuple(cell for bar in bars for cell in bar)
    return with_digest(replace(plain, voice1=cells))


def test_the_bar_after_keeps_its_tone() -> None:
    refrain, held = (60, 60, 60, 62), (HOLD, HOLD, 65, 65)
    edited = with_cell(holding(refrain, (64,) * 4, refrain, held, held), 3, 67)
    found = spread_edits(edited)
    assert found.copied == ((0, (2,), "voice1"),)
    assert [bar[0] for bar in contents(found.sheet)][2:] == [
        (60, 60, 60, 67), (62, HOLD, 65, 65), held,
    ]  # fmt: skip
    assert spread_edits(found.sheet).copied == ()  # what was mended is no edit


def test_a_held_edit_is_held_in_the_bars_it_goes_to() -> None:
    one, two = (60, 60, 60, 62), (64, 64, 64, 64)
    sheet = holding(one, two, (71,) * 4, one, two)
    edited = with_cell(with_cell(sheet, 3, 67), 4, HOLD)
    found = spread_edits(edited)
    assert found.copied == ((0, (3,), "voice1"), (1, (4,), "voice1"))
    assert found.sheet.voice1[12:] == found.sheet.voice1[:8] == (60, 60, 60, 67, HOLD, 64, 64, 64)


@pytest.mark.parametrize("was", [None, 0, 8])
@pytest.mark.parametrize("now", [None, 0, 2, 8])
def test_a_loop_mark_is_no_edit_to_spread(was: int | None, now: int | None) -> None:
    sheet = with_digest(replace(sheet_of(60, 62, 60), loop_step=was))
    found = spread_edits(replace(sheet, loop_step=now))
    assert (found.copied, found.differing) == ((), ())
    edited = replace(with_cell(sheet_of(60, 62, 60), 1, 67), loop_step=now)
    assert spread_edits(edited).sheet.loop_step == now


def test_a_new_bar_in_place_of_a_deleted_ending_goes_nowhere() -> None:
    sheet = sheet_of(60, 62, 64, 64)
    new = sheet.bars[3]._replace(number=9)
    edited = replace(with_cell(sheet, 12, 70), bars=(*sheet.bars[:3], new))
    assert spread_edits(edited).copied == ()
    longer = sheet_of(60, 64, 62, 64, 65)
    shorter = replace(
        with_cell(longer, 12, 70),
        bars=longer.bars[:4],
        voice1=(*longer.voice1[:12], 70, 70, 70, 70),
        voice2=longer.voice2[:16],
        drums=longer.drums[:16],
    )
    assert spread_edits(shorter).copied == ()


def test_bars_that_were_numbered_anew_around_an_edit_are_those_they_were() -> None:
    sheet = sheet_of(62, 64, 65, 67, 65, 69)
    bars = tuple(bar._replace(number=number) for number, bar in enumerate(sheet.bars[1:], 1))
    rows = {name: getattr(sheet, name)[4:] for name in ("voice1", "voice2", "drums")}
    shorter = replace(sheet, bars=bars, **rows)
    assert spread_edits(with_cell(shorter, 5, 72)).copied == ((1, (3,), "voice1"),)


def test_where_no_bar_is_as_it_was_numbers_tell_which_are_which() -> None:
    both = replace(with_cell(sheet_of(60, 60), 1, 67), drums=(*[None] * 4, "kick", *[None] * 3))
    assert spread_edits(both).copied == ((0, (1,), "voice1"), (1, (0,), "drums"))


@given(st.integers(0, 2**32), st.integers(0, 7))
def test_no_edited_bar_is_changed_and_the_text_keeps_it_all(seed: int, bar: int) -> None:
    rng = random.Random(seed)
    sheet = with_digest(replace(generated(rng, bars=8), loop_step=None))
    steps = sheet.bars[bar].steps
    start = sum(other.steps for other in sheet.bars[:bar])
    voice1, voice2, drums = random_content(rng, steps)
    edited = replace(
        sheet,
        voice1=(*sheet.voice1[:start], *voice1, *sheet.voice1[start + steps :]),
        voice2=(*sheet.voice2[:start], *voice2, *sheet.voice2[start + steps :]),
        drums=(*sheet.drums[:start], *drums, *sheet.drums[start + steps :]),
    )
    found = spread_edits(edited)
    before, after, now = contents(sheet), contents(edited), contents(found.sheet)
    heard, heard_now = sounding(edited), sounding(found.sheet)
    for place, content in enumerate(now):
        alike = before[place] == before[bar] and place != bar and after[bar] != before[bar]
        model = after[bar] if alike else after[place]
        assert content[2] == model[2]
        assert [row[1:] for row in content[:2]] == [row[1:] for row in model[:2]]
        if not alike:
            assert heard_now[place] == heard[place]
    again = spread_edits(found.sheet)
    assert (again.sheet, again.copied) == (found.sheet, ())
    assert parse(format_sheet(found.sheet)) == found.sheet


def test_the_file_is_rewritten_and_the_version_before_kept(tmp_path: Path) -> None:
    from typer.testing import CliRunner

    from arranger.cli.app import app
    from arranger.sheet import read_sheet, write_sheet

    path = tmp_path / "refrain.duet"
    edited = with_cell(sheet_of(60, 62, 60), 1, 67)
    write_sheet(edited, path)
    looked = CliRunner().invoke(app, ["spread", "--check", str(path)])
    assert looked.output == "bar 1, voice 1: would go to 3\n"
    assert read_sheet(path) == edited
    done = CliRunner().invoke(app, ["spread", str(path)])
    assert done.output == "bar 1, voice 1: went to 3\n"
    assert read_sheet(path).voice1[8:] == (60, 67, 60, 60)
    assert read_sheet(path.with_name("refrain.duet~")) == edited
    strange = CliRunner().invoke(app, ["spread", "--row", "bass", str(path)])
    assert (strange.exit_code, "voice1, voice2, drums" in strange.output) == (2, True)
    again = CliRunner().invoke(app, ["spread", "--row", "drums", str(path)])
    assert again.output == f"{path}: no edit to spread\n"
