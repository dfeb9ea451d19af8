"""The songbook's page as text; how it behaves: tests/browser."""

from __future__ import annotations

import json

from arranger.songbook.page import book_page
from arranger.songbook.record import Record
from tests.report.handmade import HOSTILE
from tests.report.test_song_page import read

RECORDS = [
    Record(
        relative="harbour/one.mid",
        place="harbour/one",
        state="done",
        title="One",
        notes=10,
        kept=6,
        changed=2,
        merged=1,
        dropped=1,
        played_bpm=120.2,
        tune="flute",
        bass="tuba",
        outputs=("one.duet", "one.report.html"),
    ),
    Record(
        relative="two & #2.mid",
        place="two & #2",
        state="kept-edit",
        title=HOSTILE,
        notes=4,
        kept=4,
        outputs=("two & #2.duet", "two & #2.report.html"),
    ),
    Record(
        relative="three.mid",
        place="three",
        state="failed",
        reason="unreadable",
        message="<b>no</b> song",
    ),
]


def songs_of(page: str) -> list[dict[str, object]]:
    loaded: list[dict[str, object]] = json.loads(read(page).scripts[0])
    return loaded


def test_songs_link_to_their_pages() -> None:
    songs = songs_of(book_page(RECORDS, {"two & #2.mid": "harbour/one.mid"}))
    assert [song["link"] for song in songs] == [
        "./harbour/one.report.html",
        "./two%20%26%20%232.report.html",
    ]
    assert songs[1]["remark"] == ("sheet edited by hand, left alone; same notes as harbour/one.mid")
    assert songs[0]["counts"] == [6, 2, 1, 1]


def test_failures_stand_with_their_reason() -> None:
    page = book_page(RECORDS, {})
    assert "2 songs converted, of which 1 keep a sheet that was edited by hand; 1 failed" in page
    assert "<td>unreadable</td><td>&lt;b&gt;no&lt;/b&gt; song</td>" in page
    # 10 of 14 notes kept, 13 of 14 heard
    assert "14 notes in all, 71 % kept as written and 93 % heard" in page


def test_names_never_become_markup() -> None:
    reader = read(book_page(RECORDS, {}))
    assert len(reader.scripts) == 2
    assert not any(tag == "img" for tag, _ in reader.elements)


def test_a_book_without_songs_is_a_page_too() -> None:
    assert songs_of(book_page([], {})) == []
