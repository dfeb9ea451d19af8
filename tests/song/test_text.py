"""Names and texts in four encodings, as real files have them: short, few, and mixed."""

from __future__ import annotations

import pytest

from arranger.song.charsets import _fit, decode, decode_document
from tests.song.midi_bytes import QUARTER_C4, header, meta, read, track

WORDS = {
    "cp932": ("ピアノ", "メロディー", "ドラム", "ベース", "春の歌 第１番", "ﾍﾞｰｽ", "ギター", "表"),
    "cp1251": ("Мелодия", "Бас", "БАРАБАНЫ", "Гитара соло", "Ёлка", "Соло «Гитара»"),
    "cp1252": ("Flöte", "Mélodie", "Contrebasse à cordes", "Coração", "© 1998", "Señor", "Übung"),
    "utf_8": ("Flöte", "ピアノ", "Бас", "Ünïcödé ♪"),
}
NAMES = {"cp932": "Shift-JIS", "cp1251": "CP1251", "cp1252": "Latin-1", "utf_8": "UTF-8"}


@pytest.mark.parametrize(("codec", "word"), [(c, word) for c in WORDS for word in WORDS[c]])
def test_one_word_alone(codec: str, word: str) -> None:
    decoded = decode([word.encode(codec)])
    assert decoded.texts == [word]
    assert decoded.encoding == NAMES[codec]


@pytest.mark.parametrize("codec", WORDS)
def test_all_words_together_with_plain_ones(codec: str) -> None:
    words = ["Track 1", *WORDS[codec], "", "Bass"]
    assert decode([word.encode(codec) for word in words]) == (words, NAMES[codec])


def test_one_text_in_another_encoding_does_not_spoil_the_others() -> None:
    texts = [word.encode("cp932") for word in WORDS["cp932"]] + ["Flöte".encode()]
    assert decode(texts).texts[:-1] == list(WORDS["cp932"])
    texts = [word.encode() for word in WORDS["utf_8"]] + ["Flöte".encode("cp1252")]
    assert decode(texts).texts == [*WORDS["utf_8"], "Flöte"]


def test_plain_text_costs_no_detection_and_any_bytes_are_read() -> None:
    assert decode([b"plain", b""]) == (["plain", ""], None)
    assert decode([bytes(range(256))]).texts[0].startswith("\0\1\2")
    assert decode([b"name\0\0"]).texts == ["name"]


def test_documents_by_mark_declaration_or_detection() -> None:
    text = '<?xml version="1.0" encoding="{}"?><a>Übung é</a>'
    for codec in ("utf-8", "iso-8859-1", "utf-16"):
        declared = text.format(codec)
        assert decode_document(declared.encode(codec)) == declared
    # one that nothing but the declaration tells
    declared = '<?xml version="1.0" encoding="koi8-r"?><a>Гавань</a>'
    assert decode_document(declared.encode("koi8-r")) == declared
    assert decode_document("\ufeffÜbung".encode()) == "Übung"
    assert decode_document("Übung für zwei".encode("latin-1")) == "Übung für zwei"
    assert decode_document(b"\xff\xfea") == "\ufffd"


@pytest.mark.parametrize("codec", ["cp932", "cp1251", "cp1252", "utf_8"])
def test_track_names_titles_and_lyrics_are_shown_right(codec: str) -> None:
    title, lyric = WORDS[codec][0], WORDS[codec][1]
    song = read(
        header()
        + track("00", meta(3, title.encode(codec)), "00", meta(5, lyric.encode(codec)), QUARTER_C4)
    )
    assert (song.title, song.parts[0].name, song.tracks[0].name) == (title, title, title)
    assert song.marks[1].text == lyric
    assert song.remarks == (f"names and texts were read as {NAMES[codec]}",)


@pytest.mark.parametrize(
    ("text", "codec", "fit"),
    [
        ("Flöte", "cp1252", 1.0),
        ("flöte FLÖTE", "cp1252", 1.0),
        ("flÖte", "cp1252", -1.0),  # no word is cased so
        ("Öl", "cp1252", 1.0),  # half of it plain letters
        ("Öäl", "cp1252", -0.5),
        ("à la", "cp1252", 0.5),  # a letter alone, among Latin words
        ("à", "cp1252", -0.5),
        ("© 1998", "cp1252", 0.3),  # a sign says little
        ("Flöte ©", "cp1252", (1 + 0.3) / 2),
        ("Бас", "cp1251", 1.0),
        ("БАС", "cp1251", 1.0),
        ("Ба", "cp1251", 0.5),
        ("гИтара", "cp1251", -1.0),
        ("Бac", "cp1251", -1.0),  # with Latin letters in it
        ("и", "cp1251", 0.5),
        ("и la", "cp1251", -0.5),
        ("Бас «Соло»", "cp1251", (3 + 4 + 2 * 0.3) / 9),
        ("Ба Соло", "cp1251", (2 * 0.5 + 4) / 6),
        ("ピアノ", "cp932", 1.0),
        ("ピアノ solo", "cp932", 1.0),
        ("１番", "cp932", 1.0),
        ("亜掠", "cp932", 1.0),  # from the first of the everyday characters
        ("論", "cp932", -0.5),
        ("春論", "cp932", 0.25),
        ("ﾍﾞｰｽ", "cp932", 0.8),
        ("ﾍﾍ", "cp932", 0.1),
    ],
)
def test_how_well_a_text_reads_in_an_encoding(text: str, codec: str, fit: float) -> None:
    assert _fit(text.encode(codec), codec) == pytest.approx(fit)


def test_what_cannot_be_in_an_encoding_reads_worst() -> None:
    assert _fit(b"\x81", "cp932") == _fit(b"\x81", "cp1252") == -1.0


def test_a_text_is_kept_up_to_two_thousand_characters() -> None:
    assert decode([b"a" * 2001, b"b" * 2000]).texts == ["a" * 2000, "b" * 2000]
    assert decode(["ö".encode() * 2001]).texts == ["ö" * 2000]


def test_texts_are_utf_8_where_more_than_half_of_them_can_be() -> None:
    good, bad = ["Flöte".encode(), "Übung".encode()], ["Señor".encode("cp1252"), b"\xdcbung f\xfcr"]
    assert decode([*good, bad[0]]).encoding == "UTF-8"
    assert decode([*good, *bad]).encoding == "Latin-1"
    assert decode([good[0], *bad]).encoding == "Latin-1"
