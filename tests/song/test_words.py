"""Lyrics and karaoke texts, bar by bar."""

from __future__ import annotations

import pytest

from arranger.song.words import _are_spaced, words_by_bar
from tests.song.midi_bytes import header, meta, one_track, read, track

BAR = "83 00"  # 384 ticks


def test_lyrics_bring_their_own_spaces() -> None:
    song = read(
        one_track("00", meta(5, b"Haul "), "60", meta(5, b"a-"), "60", meta(5, b"way\r"), BAR,
                  meta(5, b"now"), "00 90 3C 40 60 80 3C 40")
    )  # fmt: skip
    assert words_by_bar(song, [0, 384]) == {0: "Haul a-way", 1: "now"}


def test_bare_syllables_get_spaces() -> None:
    song = read(one_track("00", meta(5, b"Haul"), "60", meta(5, b"now"), "00 90 3C 40 60 80 3C 40"))
    assert words_by_bar(song, [48, 384]) == {0: "Haul now"}


def test_karaoke_texts_without_their_headings() -> None:
    song = read(
        header(1, 2)
        + track("00", meta(1, b"@KMIDI KARAOKE FILE"), "00", meta(1, b"@TLamp Song"))
        + track("00", meta(1, b"\\Low "), BAR, meta(1, b"lamp"), "60", meta(1, b"/light"),
                "00 90 3C 40 60 80 3C 40")
    )  # fmt: skip
    assert words_by_bar(song, [0, 384]) == {0: "Low", 1: "lamp light"}


def test_other_texts_are_not_sung() -> None:
    assert words_by_bar(read(one_track("00", meta(1, b"made by hand"), "00 90 3C 40")), [0]) == {}


@pytest.mark.parametrize("text", [" a", "/a", "\\a", "\ra", "\na", "a ", "a-", "a\r", "a\n"])
def test_one_text_with_a_space_or_hyphen_of_its_own_says_that_all_have_theirs(text: str) -> None:
    assert _are_spaced(["b", "", text])


def test_bare_texts_have_no_spaces_of_their_own() -> None:
    assert not _are_spaced(["a", "", "-b", "c/", "d-e", "f g"])
    assert not _are_spaced([])


def test_words_on_a_line_are_the_bar_s_that_begins_there() -> None:
    song = read(one_track("60", meta(5, b"one "), "60", meta(5, b"two"), "60", meta(5, b" "),
                          "00 90 3C 40 60 80 3C 40"))  # fmt: skip
    assert words_by_bar(song, [0, 97, 192, 288]) == {0: "one", 2: "two"}
    assert words_by_bar(song, [192, 288]) == {0: "one two"}
