"""Which song comes first, and what the columns say."""

from __future__ import annotations

import csv
import json
from contextlib import suppress
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from arranger.sheet import format_sheet, read_sheet
from arranger.songbook import convert_book
from arranger.songbook.known.index import opened
from arranger.songbook.known.song_record import SongRecord, change_of, with_change
from arranger.songbook.shown.overview import write_overview
from arranger.songbook.shown.worklist import by_need, table_lines
from tests.report.test_book_page import RECORDS
from tests.songbook.runs import choice, codes, plain
from tests.songbook.songs import write_book, write_song

if TYPE_CHECKING:
    from pathlib import Path

COLUMNS = (
    "song,state,reason,message,title,engine,step,asked_bpm,played_bpm,bars,steps,notes,kept,changed,"
    "merged,dropped,tune,bass,same_notes_as,sheet,rank,lost,tune_heard,bass_heard,harmony_heard,"
    "drums_heard,seconds,song_bytes,bytes_limit,fits,doubts,doubts_told,edited,edited_at,change"
)
"""As published: others may only be added at the end."""

SONG = SongRecord(relative="a.mid", place="a", state="done", lost=50, song_bytes=10, bytes_limit=10)


def test_failures_come_first_then_misfits_then_what_loses_most() -> None:
    songs = [
        replace(SONG, relative="fine", lost=0),
        replace(SONG, relative="unknown", lost=None),
        replace(SONG, relative="poor", lost=300),
        replace(SONG, relative="poor too", lost=300),
        replace(SONG, relative="large", song_bytes=11),
        replace(SONG, relative="large and poor", lost=60, song_bytes=11),
        replace(SONG, relative="failed", state="failed", lost=None),
    ]
    order = ["failed", "large and poor", "large", "poor", "poor too", "fine", "unknown"]
    assert [record.relative for record in by_need(songs)] == order


def test_table_and_json_have_every_column(tmp_path: Path) -> None:
    table, told, _ = write_overview(RECORDS, tmp_path)
    assert table.read_text().splitlines()[0].startswith(COLUMNS)
    rows = list(csv.DictReader(table.read_text().splitlines()))
    assert [row["rank"] for row in rows] == ["3", "2", "1"]
    assert (rows[0]["harmony_heard"], rows[0]["drums_heard"]) == ("40", "")
    assert [row["fits"] for row in rows] == ["yes", "no", ""]
    assert rows[0]["doubts_told"] == "the file doesn't say where bars are"
    songs = json.loads(told.read_text())["songs"]
    assert [song["rank"] for song in songs] == [3, 2, 1]
    assert songs[0]["heard"] == [90, 100, 40, None]


NOW = replace(SONG, heard=(90, 80, None, 70), steps=64, engine="twin-phase")


@pytest.mark.parametrize(
    ("before", "now", "told"),
    [
        (None, NOW, "new"),
        (NOW, NOW, "as before"),
        (replace(NOW, heard=(87, 80, None, 75)), NOW, "tune +3, drums -5"),
        (replace(NOW, song_bytes=130, steps=60), NOW, "bytes -120, steps +4"),
        (NOW, replace(NOW, edited=True), "edited"),
        (replace(NOW, edited=True), replace(NOW, engine="twin-counter"), "edits gone, for twin-counter"),
        (replace(NOW, state="failed", reason="time"), NOW, "failed before"),
        (NOW, replace(NOW, state="failed", reason="time"), "fails now"),
        (replace(SONG, state="failed", reason="time"), replace(SONG, state="failed", reason="time"), "as before"),
        # A record of an earlier version doesn't say what was heard or how many bytes it took.
        (replace(NOW, heard=(), song_bytes=0, bytes_limit=0), NOW, "as before"),
    ],
)  # fmt: skip
def test_what_became_of_a_song(before: SongRecord | None, now: SongRecord, told: str) -> None:
    assert change_of(before, now) == told


def test_a_sheet_is_edited_since_a_hand_wrote_it_last() -> None:
    before = replace(NOW, edited=True, edited_at="2026-01-01T00:00:00Z")
    again = replace(before, edited_at="2026-02-02T00:00:00Z")
    # The run before wrote the sheet with its edits: that was no hand.
    assert with_change(before, again).edited_at == before.edited_at
    by_hand = replace(again, why=(("sheet", "its sheet was changed since"),))
    assert with_change(before, by_hand).edited_at == again.edited_at
    assert with_change(None, again).edited_at == again.edited_at


def test_records_of_other_versions_are_read() -> None:
    values = json.loads(NOW.to_json())
    values["strip"] = [0.5]
    del values["heard"], values["doubts"]
    found = SongRecord.from_json(json.dumps(values))
    assert found == replace(NOW, heard=())
    assert SongRecord.from_json(NOW.to_json()) == NOW


TABLE_WIDE = """\
Song              Lost  Tune  Bass  Harmony  Drums  Length  Bytes    Tempo  Doubts  Edited      Since the last run
One               12.0    90   100       40           1:15   1200  120>119  metre               harmony +3
<b>"Tide" & <...   1.5   100                    80    0:08    90!                   2026-03-04"""

TABLE_NARROW = """\
Song              Lost  Tune  Bass  Harmony  Drums  Length
One               12.0    90   100       40           1:15
    bytes: 1200; tempo: 120>119; doubts: metre; since the
    last run: harmony +3
<b>"Tide" & <...   1.5   100                    80    0:08
    bytes: 90!; edited: 2026-03-04"""


@pytest.mark.parametrize(("width", "table"), [(114, TABLE_WIDE), (58, TABLE_NARROW)])
def test_the_terminal_shows_all_columns_at_any_width(width: int, table: str) -> None:
    songs = [RECORDS[0], replace(RECORDS[1], title='<b>"Tide" & <i>more')]
    assert "\n".join(table_lines(songs, width)) == table


def test_names_in_wide_letters_leave_the_columns_where_they_are() -> None:
    lines = [*table_lines([RECORDS[0], replace(RECORDS[0], title="港の歌" * 9)], 114)]
    # Each of these letters takes two columns.
    assert lines[2].index("12.0") == lines[1].index("12.0") - sum(c in "港の歌" for c in lines[2])


def test_a_table_of_new_songs_leaves_out_what_tells_nothing() -> None:
    heading = next(table_lines([replace(NOW, change="new")], 80))
    assert heading.split() == ["Song", "Lost", "Tune", "Bass", "Drums", "Bytes"]


def test_songs_of_an_earlier_version_are_done_once_more(tmp_path: Path) -> None:
    write_book(tmp_path / "songs", 2)
    found = convert_book(choice(tmp_path)).records
    with opened(tmp_path / "out") as index:
        old = index.known[found[0].relative]
        less = SongRecord.from_json(
            json.dumps(
                {
                    "relative": old.record.relative,
                    "place": old.record.place,
                    "state": "done",
                    "outputs": old.record.outputs,
                    "format": 1,
                }
            )
        )
        made = old.made._replace(writes="of that version")
        index.remember(found[0].relative, old._replace(made=made, record=less))
    again = convert_book(choice(tmp_path))
    assert codes(again.records) == {found[0].relative: ["report"], found[1].relative: ["unchanged"]}
    assert plain(again.records) == plain(found)
    assert convert_book(choice(tmp_path)).converted == 0


def test_changes_are_told_until_a_run_came_to_its_end(tmp_path: Path) -> None:
    write_book(tmp_path / "songs", 2)

    def changes() -> list[str]:
        return [record.change for record in convert_book(choice(tmp_path)).records]

    assert changes() == ["new", "new"]
    assert changes() == ["", ""]
    write_song(tmp_path / "songs" / "shelf0" / "song000.mid", seed=99)
    told, nothing = changes()
    assert "steps" in told or "bytes" in told
    assert nothing == ""
    with suppress(KeyboardInterrupt), opened(tmp_path / "out"):
        raise KeyboardInterrupt
    # The run goes on with what the one before began.
    assert changes() == [told, ""]
    assert changes() == ["", ""]


def test_a_song_that_a_hand_mended_needs_less_of_it(tmp_path: Path) -> None:
    write_song(tmp_path / "songs" / "quay.mid", seed=3, notes=16, parts=5)
    (before,) = convert_book(choice(tmp_path)).records
    path = tmp_path / "out" / "quay.duet"
    ledger = json.loads(path.with_suffix(".ledger.json").read_text())
    sheet = read_sheet(path)
    gone = [n for n in ledger["notes"] if n["outcome"] == "dropped" and n["part"] == 1]
    # Some of what the first part lacks is put where voice 2 was, which gives way as the hand wants it.
    row = list(sheet.voice2)
    beat = sheet.steps / 8  # sixteen quavers
    for note in gone[2::4]:
        row[int(note["onset_tick"] / 96 * beat)] = note["pitch"]
    path.write_text(format_sheet(replace(sheet, voice2=tuple(row))))
    (after,) = convert_book(choice(tmp_path)).records
    assert (after.state, after.edited) == ("kept-edit", True)
    assert before.lost is not None
    assert after.lost is not None
    assert 0 < after.lost < before.lost
    assert after.change.startswith("edited, harmony +")
