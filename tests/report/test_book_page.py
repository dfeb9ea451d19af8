"""The songbook's page as text; how it behaves: tests/browser."""

from __future__ import annotations

from arranger.songbook.known.song_record import SongRecord
from arranger.songbook.shown.book_page import book_page
from arranger.songbook.shown.worklist import COLUMNS
from tests.report.handmade import HOSTILE
from tests.report.pages import data_of, read

RECORDS = [
    SongRecord(
        relative="harbour/one.mid",
        place="harbour/one",
        state="done",
        title="One",
        notes=10,
        kept=6,
        changed=2,
        merged=1,
        dropped=1,
        asked_bpm=120.0,
        played_bpm=118.8,
        tune="flute",
        bass="tuba",
        outputs=("one.duet", "one.report.html"),
        heard=(90, 100, 40, None),
        lost=120,
        strips=("99990", "9-99-", "44444", ""),
        seconds=75.2,
        song_bytes=1200,
        bytes_limit=32000,
        doubts=(("metre", "the file doesn't say where bars are"),),
        change="harmony +3",
        why=(("song", "the song's file changed"),),
    ),
    SongRecord(
        relative="two & #2.mid",
        place="two & #2",
        state="kept-edit",
        title=HOSTILE,
        notes=4,
        kept=4,
        outputs=("two & #2.duet", "two & #2.report.html"),
        edited=True,
        edited_at="2026-03-04T05:06:07Z",
        heard=(100, None, None, 80),
        lost=15,
        strips=("99", "", "", "97"),
        seconds=8.0,
        song_bytes=90,
        bytes_limit=80,
    ),
    SongRecord(
        relative="three.mid",
        place="three",
        state="failed",
        reason="unreadable",
        message="<b>no</b> song",
    ),
]


def test_cells_show_what_the_columns_say_and_songs_link_to_their_pages() -> None:
    data = data_of(book_page(RECORDS, {}))
    assert [name for name, _, _ in data["columns"]] == [column.name for column in COLUMNS]
    assert {name: cells[0] for name, cells in data["cells"].items()} == {
        "song": "One",
        "lost": "12.0",
        "tune": "90",
        "bass": "100",
        "harmony": "40",
        "drums": "",
        "length": "1:15",
        "bytes": "1200",
        "tempo": "120>119",
        "doubts": "metre",
        "edited": "",
        "change": "harmony +3",
    }
    assert data["cells"]["bytes"][1] == "90!"
    assert data["cells"]["edited"][1] == "2026-03-04"
    assert data["links"] == ["./harbour/one.report.html", "./two%20%26%20%232.report.html", ""]
    assert data["strips"][0] == ["99990", "99", ""]
    # The failed one, the one that doesn't fit, then the rest.
    assert data["order"] == [2, 1, 0]
    assert data["states"] == "dkf"


def test_what_is_told_of_each_song() -> None:
    told = data_of(book_page(RECORDS, {"two & #2.mid": "harbour/one.mid"}))["told"]
    assert told[0] == [
        "the file doesn't say where bars are",
        "tune: flute; bass: tuba",
        "Why again: the song's file changed",
    ]
    assert told[1] == [
        "It takes 10 bytes more than the 80 that it may.",
        "Its sheet was edited by hand, last on 2026-03-04 at 05:06 UTC; left alone.",
        "It has the same notes as harbour/one.mid.",
    ]
    assert told[2] == ["unreadable: <b>no</b> song"]
    assert "3 songs; 1 failed; 1 doesn&#39;t fit; 1 edited by hand" in book_page(RECORDS, {})


def test_names_never_become_markup() -> None:
    reader = read(book_page(RECORDS, {}))
    assert len(reader.scripts) == 3
    assert not any(tag == "img" for tag, _ in reader.elements)


def test_a_book_without_songs_is_a_page_too() -> None:
    assert data_of(book_page([], {}))["files"] == []
