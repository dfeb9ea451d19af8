"""Edits of a review as functions: what is meant changes, every other bar plays what it played."""

from __future__ import annotations

import random
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.conversion.behind import in_sheet, open_behind
from arranger.engine import load_engine
from arranger.errors import SettingsError, UsageError
from arranger.review.asks import edit_of
from arranger.review.edits import Tone, with_cells, with_tone
from arranger.review.joining import joined
from arranger.review.lost_notes import ways
from arranger.rows import HOLD, REST, tones
from arranger.sheet import format_sheet, parse
from arranger.sheet.form.in_place import written_into
from arranger.sheet.model import Sheet, SheetBar
from tests.review.served import DEMO_SONGS, converted, written
from tests.sheet import edits
from tests.sheet.strategies import sheets

if TYPE_CHECKING:
    from pathlib import Path

    from arranger.conversion.behind import Behind

ENGINE = load_engine("twin-phase")


def sounding(sheet: Sheet, row: int) -> list[int | str | None]:
    return [*sheet.drums] if row == 2 else [*tones((sheet.voice1, sheet.voice2)[row])]


@settings(max_examples=40)
@given(st.data())
def test_cells_change_what_they_say_and_nothing_else(data: st.DataObject) -> None:
    sheet = data.draw(sheets())
    row = data.draw(st.integers(0, 2))
    step = data.draw(st.integers(0, sheet.steps - 1))
    cell = data.draw(st.sampled_from([None, "kick"] if row == 2 else [HOLD, REST, 60]))
    now = with_cells(sheet, {(row, step): cell})
    format_sheet(now)  # the writer holds it to the laws of bars that are as others
    starts = sheet.bar_starts
    bar = next(i for i in range(len(sheet.bars)) if starts[i] <= step < starts[i + 1])
    alone = all(each.as_bar != bar for each in sheet.bars) and sheet.bars[bar].as_bar is None
    if row == 2:
        assert now.drums[step] == cell
    elif cell != HOLD:
        assert (now.voice1, now.voice2)[row][step] == cell
    if alone:
        for other in range(3):
            was, then = sounding(sheet, other), sounding(now, other)
            assert then[: starts[bar]] == was[: starts[bar]]
            assert then[starts[bar + 1] :] == was[starts[bar + 1] :]
            if other != row:
                assert then == was


@settings(max_examples=40)
@given(st.data())
def test_a_tone_is_heard_where_it_is_put_and_what_it_covered_goes_on(data: st.DataObject) -> None:
    sheet = edits.generated(random.Random(data.draw(st.integers(0, 500))), bars=5)
    sheet = replace(sheet, engine="twin-phase")
    voice = data.draw(st.integers(0, 1))
    start = data.draw(st.integers(0, sheet.steps - 1))
    end = data.draw(st.integers(start + 1, min(start + 20, sheet.steps)))
    now = with_tone(sheet, Tone(voice, 61, start, end), ENGINE)
    was, then = sounding(sheet, voice), sounding(now, voice)
    assert then == [*was[:start], *[61] * (end - start), *was[end:]]
    row = (now.voice1, now.voice2)[voice]
    assert row[start] == 61
    assert set(row[start + 1 : end]) <= {HOLD}
    assert sounding(now, 1 - voice) == sounding(sheet, 1 - voice)


def four(voice1: tuple[int, ...], drums: tuple[str | None, ...] = (None,) * 8) -> Sheet:
    sheet = edits.generated(random.Random(1), bars=2)
    bars = (SheetBar(1, 4, 4, 4), SheetBar(2, 4, 4, 4))
    return replace(
        sheet,
        bars=bars,
        voice1=voice1,
        voice2=(REST,) * 8,
        drums=drums,
        loop_step=None,
        comments=(),
    )


def test_a_repeated_pitch_is_parted() -> None:
    tone = Tone(0, 60, 2, 4)
    now = with_tone(four((60, HOLD, 62, HOLD, 60, HOLD, HOLD, HOLD)), tone, ENGINE)
    assert ENGINE.gap is not None
    assert now.drums == (None, None, ENGINE.gap.name, None, ENGINE.gap.name, None, None, None)
    kick = four((60, HOLD, 62, HOLD, 62, HOLD, HOLD, HOLD), (None, None, "kick", *[None] * 5))
    assert with_tone(kick, tone, ENGINE).drums == kick.drums
    coarse = load_engine("twin-counter")
    if coarse.gap is None:
        assert with_tone(kick, tone, coarse).voice1[1] == REST


def test_a_tone_reaches_over_a_bar_line_and_what_it_cut_starts_anew() -> None:
    now = with_tone(four((60, HOLD, HOLD, HOLD, HOLD, HOLD, HOLD, 64)), Tone(0, 65, 3, 6), ENGINE)
    assert now.voice1 == (60, HOLD, HOLD, 65, HOLD, HOLD, 60, 64)


@settings(max_examples=40)
@given(st.data())
def test_text_is_left_as_it_was_typed_and_says_what_the_sheet_is(data: st.DataObject) -> None:
    sheet = data.draw(sheets())
    text = format_sheet(sheet)
    rough = data.draw(st.booleans())
    if rough:  # cells without columns
        lines = text.split("\n")
        text = "\n".join(
            " ".join(line.split()) if "#" not in line and "voice" in line else line
            for line in lines
        )
        sheet = parse(text)
    row = data.draw(st.integers(0, 2))
    cells = {
        (row, step): data.draw(
            st.sampled_from([None, "kick", "snare-hat"] if row == 2 else [HOLD, REST, 61])
        )
        for step in data.draw(st.sets(st.integers(0, sheet.steps - 1), min_size=1, max_size=3))
    }
    now = with_cells(sheet, cells)
    written = written_into(text, now)
    assert parse(written) == now
    same = [bar for bar in range(len(now.bars)) if now.bars[bar] == sheet.bars[bar]]
    if len(same) == len(now.bars):
        different = sum(a != b for a, b in zip(text.split("\n"), written.split("\n"), strict=False))
        assert different <= 3 * len(now.bars)
    assert written_into(text, sheet) == text


def test_layout_and_comments_of_a_hand_stay() -> None:
    sheet = four((60, HOLD, 62, HOLD, 64, HOLD, HOLD, HOLD))
    text = format_sheet(sheet)
    head, _, tail = text.partition("bar 1")
    _, _, rest = tail.partition("bar 2")
    typed = f"{head}# the quay\nBAR 1 4/4 4 steps\n voice 1  C4---   # slower?\n  # here\n  drums kick..hat.\n\nbar 2{rest}"
    typed = typed.replace("C4---", "C4-D4-").replace("..hat.", "..hat")
    now = with_cells(parse(typed), {(0, 1): 67, (2, 1): "snare"})
    found = written_into(typed, now)
    assert parse(found) == now
    changed = [(a, b) for a, b in zip(typed.split("\n"), found.split("\n"), strict=True) if a != b]
    assert [a for a, _ in changed] == [" voice 1  C4-D4-   # slower?", "  drums kick..hat"]
    assert changed[0][1] == " voice 1  C4G4D4-   # slower?"
    assert changed[1][1].replace("|", " ").split() == ["drums", "kick", "snare", ".", "hat"]


def test_a_row_that_was_not_typed_is_written_with_its_bar_and_all_else_stays() -> None:
    lines = format_sheet(four((60, HOLD, 62, HOLD, 64, HOLD, HOLD, HOLD))).splitlines()
    lines[lines.index("bar 1   4/4   4 steps")] = "BAR 1 4/4 4 steps"
    del lines[lines.index("bar 2   4/4   4 steps") + 3]  # its drums
    typed = "\n".join(lines)
    now = with_cells(parse(typed), {(2, 5): "kick"})
    found = written_into(typed, now)
    assert parse(found) == now
    assert "BAR 1 4/4 4 steps" in found


def test_a_bar_that_did_not_change_stays_as_it_was_typed() -> None:
    lines = format_sheet(four((60, HOLD, 62, HOLD, 64, HOLD, HOLD, HOLD))).splitlines()
    first = lines.index("bar 1   4/4   4 steps") + 1
    lines[first] += " # close by"
    typed = "\n".join(lines)
    found = written_into(typed, with_cells(parse(typed), {(0, 7): 61})).splitlines()
    assert [at for at, line in enumerate(found) if line != lines[at]] == [first + 5]


def test_columns_stay_aligned_where_they_were() -> None:
    sheet = four((60, HOLD, 62, HOLD, 64, HOLD, HOLD, HOLD))
    now = with_cells(sheet, {(2, 1): "snare-hat"})
    assert written_into(format_sheet(sheet), now) == format_sheet(now)


def test_windows_lines_stay() -> None:
    text = format_sheet(four((60,) * 8)).replace("\n", "\r\n")
    found = written_into(text, with_cells(parse(text), {(0, 3): 62}))
    assert found.count("\n") == found.count("\r\n") == text.count("\n")


def test_changes_of_page_and_file_in_other_places_are_joined() -> None:
    seen = four((60, HOLD, 62, HOLD, 64, HOLD, HOLD, HOLD))
    page = with_cells(seen, {(0, 0): 65})
    other_row = joined(seen, page, with_cells(seen, {(2, 0): "kick"}))
    assert not other_row.clashes
    assert other_row.sheet == with_cells(page, {(2, 0): "kick"})
    other_bar = joined(seen, page, with_cells(seen, {(0, 4): 67}))
    assert not other_bar.clashes
    assert other_bar.sheet == with_cells(page, {(0, 4): 67})
    named = joined(seen, page, replace(seen, title="Quay", tempo=99.0))
    assert not named.clashes
    assert named.sheet == replace(page, title="Quay", tempo=99.0)


def test_bars_put_in_meanwhile_move_the_edit_along() -> None:
    seen = four((60, HOLD, 62, HOLD, 64, HOLD, HOLD, HOLD))
    more = replace(
        seen,
        bars=(SheetBar(1, 4, 4, 4), SheetBar(2, 4, 4, 4), SheetBar(3, 4, 4, 4)),
        voice1=(72, 71, 70, 69, *seen.voice1), voice2=(REST,) * 12, drums=(None,) * 12,
    )  # fmt: skip
    found = joined(seen, with_cells(seen, {(0, 6): 67}), more)
    assert not found.clashes
    assert found.sheet == with_cells(more, {(0, 10): 67})


def test_what_both_changed_is_told() -> None:
    seen = four((60, HOLD, 62, HOLD, 64, HOLD, HOLD, HOLD))
    found = joined(seen, with_cells(seen, {(0, 0): 65}), with_cells(seen, {(0, 0): 67}))
    assert found.clashes == ("bar 1 was changed in the file meanwhile",)
    same = with_cells(seen, {(0, 0): 65})
    assert joined(seen, same, same).sheet == same


@pytest.fixture(scope="module")
def parade(tmp_path_factory: pytest.TempPathFactory) -> tuple[Behind, Path]:
    path = tmp_path_factory.mktemp("edits") / "boat_parade.duet"
    sheet = converted("boat_parade").sheet
    return open_behind(
        written(converted("boat_parade"), path), sheet, DEMO_SONGS / "boat_parade.mid"
    ), path


def test_every_lost_note_can_be_taken_as_it_is_told(parade: tuple[Behind, Path]) -> None:
    behind, _ = parade
    now = in_sheet(behind, behind.conversion.sheet)
    entries = now.conversion.reduction.ledger.entries
    assert entries == behind.conversion.reduction.ledger.entries
    lost = [entry.note for entry in entries if entry.outcome == "dropped"]
    drums = behind.asked.drum
    for note in [*lost[::23], *[note for note in lost if drums[note]][::9]]:
        found = ways(behind, now, note)
        assert found
        assert [way.trial.loss for way in found] == sorted(way.trial.loss for way in found)
        for way in found:
            ask = {"do": "take", "note": note, "row": way.place.row, "sound": way.place.sound}
            edit = edit_of(behind, now, ask)
            assert edit.sheet == way.place.sheet
            then = in_sheet(behind, edit.sheet).conversion
            check_told(entries, then.reduction.ledger.entries, way.trial.changed)
            assert not any("whole" in remark for remark in then.reduction.remarks)
            entry = then.reduction.ledger.entries[note]
            assert entry.outcome != "dropped"
            assert entry.spans


def test_what_is_told_anew_after_an_edit_is_what_is_told_of_all(
    parade: tuple[Behind, Path],
) -> None:
    behind, _ = parade
    rng = random.Random(8)
    known = in_sheet(behind, behind.conversion.sheet)
    cells = (HOLD, REST, 67, 71, 50)
    for _ in range(40):
        sheet = known.conversion.sheet
        step = rng.randrange(sheet.steps)
        row = rng.randrange(3)
        edit: dict[tuple[int, int], int | str | None] = {
            (row, at): rng.choice((None, "kick", "hat", "gap")) if row == 2 else rng.choice(cells)
            for at in range(step, min(step + rng.randrange(1, 5), sheet.steps))
        }
        changed = with_cells(rng.choice((sheet, behind.conversion.sheet)), edit)
        whole, quick = in_sheet(behind, changed), in_sheet(behind, changed, known)
        assert quick.conversion.reduction.ledger == whole.conversion.reduction.ledger
        assert quick.conversion.reduction.remarks == whole.conversion.reduction.remarks
        known = quick


def check_told(before, after, changed) -> None:  # type: ignore[no-untyped-def]
    told = {each.note: (each.before, each.after) for each in changed}
    for was, will in zip(before, after, strict=True):
        assert told.get(was.note, (was.outcome,) * 2) == (was.outcome, will.outcome)


def test_a_bar_is_written_anew_and_the_others_play_what_they_played(
    parade: tuple[Behind, Path],
) -> None:
    behind, _ = parade
    sheet = behind.conversion.sheet
    now = in_sheet(behind, sheet)
    different = 0
    for bar in (1, 5):
        for texture in ("tune-and-bass", "broken-chord", "two-highest", "bass-and-chord"):
            found = edit_of(behind, now, {"do": "texture", "bar": bar, "texture": texture}).sheet
            start, end = sheet.bar_starts[bar : bar + 2]
            different += found != sheet
            for row in range(3):
                was, then = sounding(sheet, row), sounding(found, row)
                assert then[:start] == was[:start]
                assert then[end:] == was[end:]
        again = edit_of(
            behind, in_sheet(behind, found), {"do": "texture", "bar": bar, "texture": "auto"}
        )
        assert [sounding(again.sheet, row) for row in range(3)] == [
            sounding(sheet, row) for row in range(3)
        ]
    assert different


def test_a_song_stays_behind_a_sheet_until_what_it_was_made_with_is_another(
    parade: tuple[Behind, Path], tmp_path: Path
) -> None:
    behind = parade[0]
    sheet = behind.conversion.sheet
    made = replace(sheet, source_sha256=behind.key.sha256, settings=behind.key.settings)
    assert behind.fits(made)
    assert behind.fits(replace(made, title="Other", voice1=(REST,) * sheet.steps))
    for change in (
        {"engine": "twin-counter"},
        {"settings": "--transpose 1"},
        {"source_sha256": "0"},
    ):
        assert not behind.fits(replace(made, **change))  # type: ignore[arg-type]
    alone = four((60,) * 8)
    assert not open_behind(tmp_path / "x.duet", alone, None).fits(alone), "it is its own song"


def test_bars_by_hand_can_t_be_written_anew(parade: tuple[Behind, Path]) -> None:
    from arranger.sheet.bar_edits.structure import insert_bars

    behind, _ = parade
    longer = insert_bars(behind.conversion.sheet, 1, 2, "").sheet
    now = in_sheet(behind, longer)
    assert now.edited[2] == (0, 1, 2, 3)
    with pytest.raises(SettingsError, match="put in by hand"):
        edit_of(behind, now, {"do": "texture", "bar": 2, "texture": "two-highest"})
    assert edit_of(behind, now, {"do": "texture", "bar": 3, "texture": "two-highest"}).sheet
    with pytest.raises(UsageError):
        edit_of(behind, now, {"do": "take", "note": 0, "row": 2})


def test_a_sheet_without_a_song_is_told_against_itself(tmp_path: Path) -> None:
    sheet = replace(four((60, HOLD, 62, HOLD, 64, HOLD, HOLD, HOLD)), engine="twin-phase", length=None,
                    tempo=120.0, generated=None, digest="", source_file="", source_sha256="")  # fmt: skip
    found = in_sheet(open_behind(tmp_path / "x.duet", sheet, None), sheet).conversion
    assert {entry.outcome for entry in found.reduction.ledger.entries} == {"kept"}
    assert len(found.song.notes) == 3
