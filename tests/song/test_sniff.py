"""What bytes are taken for, and what is said of those that are no song."""

from __future__ import annotations

import io
import zipfile

import pytest

from arranger.errors import LimitError, SongError
from arranger.song.repairs import Repairs
from arranger.song.sniff import holds_midi, score_of
from tests.song.midi_bytes import header, track

MUSICXML = b'<?xml version="1.0"?><score-partwise version="4.0"/>'
ABC = b"X: 1\nT:Plank Walk\nK:D\nDEF|\n"


@pytest.mark.parametrize(
    ("data", "midi"),
    [
        (header() + track(), True),
        (b"RIFF....RMIDdata...." + header() + track(), True),
        (MUSICXML, False),
        (ABC, False),
        (b"PK\3\4" + header(), False),  # what a zip archive holds isn't looked at here
    ],
)
def test_midi_data_are_told_from_scores(data: bytes, midi: bool) -> None:
    assert holds_midi(data) == midi


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"", "the file is empty"),
        (b"\0 \t\r\n", "nothing but blanks"),
        (b"arranger-sheet 3\n", "a sheet, not a song; arranger render"),
        (b"\x1f\x8b...", "a gzip archive, not a song; unpack it"),
        (b"%PDF-1.7", "a PDF document, not a song; songs are"),
        (b"RIFF....WAVEfmt ", "WAVE audio without MIDI data"),
        (b"RIFF....AVI LIST", "an AVI film without MIDI data"),
        (b"RIFF....ACONLIST", "a RIFF file without MIDI data"),
    ],
)
def test_what_is_plainly_no_song_is_named(data: bytes, told: str) -> None:
    with pytest.raises(SongError) as caught:
        holds_midi(data)
    assert told in str(caught.value)


@pytest.mark.parametrize(
    ("data", "kind"),
    [
        (MUSICXML, "musicxml"),
        (b"  <x:score-timewise>", "musicxml"),
        (b"<mei xmlns='http://www.music-encoding.org/ns/mei'/>", "mei"),
        (b"!!!COM: nobody\n**kern\n4c\n*-\n", "humdrum"),
        (ABC, "abc"),
        (b"% a tune\n" * 3000 + ABC, "abc"),
        (19_997 * b"\n" + b"**kern", "humdrum"),  # the first 20,000 are looked at
    ],
)
def test_scores_show_their_format(data: bytes, kind: str) -> None:
    assert score_of(data, 10**6).kind == kind


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"<!DOCTYPE x [<!ENTITY a 'b'>]><score-partwise/>", "defines its own entities"),
        (b"<!doctype html><p>", "a web page, not a song; download"),
        (b"<HTML><body>", "a web page, not a song"),
        (b"<svg/>", "XML that is neither MusicXML nor MEI"),
        (b"m1 C: I b3 V\nm2 vi", "an analysis of harmony without notes"),
        (b"MThd\0\0", "no song that is known here"),
        (b"MT", "cut off in its header"),
        (b"MThd", "cut off in its header"),
        (b"K:D\nDEF|", "plain text, not a song"),
        (b"X:1\nDEF|", "plain text, not a song"),
        (b"words and\0", "no song that is known here"),
        (b"\1" + 9 * b"a", "plain text, not a song"),
        (b"\1\2" + 17 * b"a", "no song that is known here"),
        (9 * b"a " + b"\1\2", "plain text, not a song"),
        (19_998 * b"\n" + b"**kern", "plain text, not a song"),
    ],
)
def test_what_holds_no_score_is_named(data: bytes, told: str) -> None:
    with pytest.raises(SongError) as caught:
        score_of(data, 10**6)
    assert told in str(caught.value)


def packed(**files: bytes) -> bytes:
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return content.getvalue()


CONTAINER = b"<container><rootfile full-path = '%s'/></container>"


@pytest.mark.parametrize(
    ("files", "kind"),
    [
        ({"a.xml": MUSICXML}, "musicxml"),
        ({"a.musicxml": MUSICXML, "b.xml": ABC}, "musicxml"),
        ({"META-INF/a.xml": ABC, "a.xml": MUSICXML}, "musicxml"),
        (
            {"META-INF/container.xml": CONTAINER % b"c/a.txt", "b.xml": ABC, "c/a.txt": MUSICXML},
            "musicxml",
        ),
        ({"META-INF/container.xml": CONTAINER % b"gone.xml", "b.xml": MUSICXML}, "musicxml"),
        ({"META-INF/container.xml": b"<container/>", "b.xml": MUSICXML}, "musicxml"),
    ],
)
def test_the_score_in_an_archive_is_its_root_file_or_the_first(
    files: dict[str, bytes], kind: str
) -> None:
    assert score_of(packed(**files), 10**6).kind == kind


def test_archives_without_a_score_and_too_large_ones_are_refused() -> None:
    for files in ({"a.txt": MUSICXML}, {"META-INF/a.xml": MUSICXML}):
        with pytest.raises(SongError, match="no compressed MusicXML"):
            score_of(packed(**files), 10**6)
    whole = packed(**{"a.xml": MUSICXML})
    with pytest.raises(SongError, match="a damaged zip archive"):
        score_of(whole[:-30], 10**6)
    assert score_of(whole, len(MUSICXML)).text == MUSICXML.decode()
    with pytest.raises(LimitError, match=f"more than {len(MUSICXML) - 1} bytes once unpacked"):
        score_of(whole, len(MUSICXML) - 1)


def test_repairs_are_counted_and_the_first_five_of_a_kind_listed() -> None:
    made = Repairs()
    assert made.count == 0
    for byte in range(7):
        made.add(2, byte, f"byte {byte}", "bytes")
        made.add(0, 16 * byte, "the same")
    assert made.count == 14
    listed = [(each.place, each.what) for each in made.listed()]
    assert listed[:2] == [("track 2, byte 0x0000", "byte 0"), ("file, byte 0x0000", "the same")]
    assert listed[9:] == [
        ("file, byte 0x0040", "the same"),
        ("track 2", "2 more: bytes"),
        ("file", "2 more: the same"),
    ]
