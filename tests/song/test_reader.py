"""Whatever a user names as a song: read, or one clear error."""

from __future__ import annotations

import gzip
import io
import zipfile
from typing import TYPE_CHECKING

import pytest

from arranger.errors import ArrangerError, LimitError, SongError
from arranger.settings import ReadSettings
from arranger.song import read_song, read_song_bytes
from tests.song.midi_bytes import END, QUARTER_C4, header, one_track, read, track

if TYPE_CHECKING:
    from pathlib import Path

GOOD = one_track(QUARTER_C4)


def zipped(**files: str | bytes) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return packed.getvalue()


NOT_SONGS = {
    "empty": (b"", "the file is empty"),
    "blank": (b"\n\n \0", "nothing but blanks"),
    "text": (b"Shopping: rope, tar, paint\n", "plain text, not a song"),
    "sheet": (b"arranger-sheet 1\ntitle Pier\n", "a sheet, not a song; arranger render, export"),
    "web page": (b"<!DOCTYPE html><html><body>404</body></html>", "a web page, not a song"),
    "web page without a type": (b"\n<html><head></head></html>", "a web page"),
    "other XML": (b"<?xml version='1.0'?><svg/>", "XML that is neither MusicXML nor MEI"),
    "entities": (b"<!DOCTYPE a [<!ENTITY b 'c'>]><score-partwise/>", "defines its own entities"),
    "zip": (zipped(readme="hello"), "a zip archive that is no compressed MusicXML; unpack it"),
    "zip of a song": (zipped(**{"a.mid": GOOD}), "a zip archive that is no compressed"),
    "damaged zip": (zipped(a="hello")[:40], "a damaged zip archive"),
    "gzip": (gzip.compress(GOOD), "a gzip archive, not a song; unpack it"),
    "picture": (b"\x89PNG\r\n\x1a\n" + bytes(50), "a PNG picture"),
    "document": (b"%PDF-1.7\n", "a PDF document"),
    "audio": (b"RIFF\x24\0\0\0WAVEfmt " + bytes(28), "WAVE audio without MIDI data"),
    "MP3": (b"ID3\4" + bytes(30), "MP3 audio"),
    "binary": (bytes(range(256)) * 4, "no song that is known here"),
    "analysis": (b"Composer: X\nTime Signature: 4/4\nm1 b1 a: i b2 V\n", "an analysis of harmony"),
    "two bytes of a MIDI file": (b"MT", "cut off in its header"),
    "half a MIDI header": (GOOD[:10], "a MIDI header without any track"),
    "MIDI header alone": (header(), "a MIDI header without any track"),
}


@pytest.mark.parametrize("name", NOT_SONGS)
def test_what_is_no_song_gets_one_clear_line(name: str, tmp_path: Path) -> None:
    data, reason = NOT_SONGS[name]
    file = tmp_path / "song.mid"
    file.write_bytes(data)
    with pytest.raises(SongError) as caught:
        read_song(file)
    message = str(caught.value)
    assert message.startswith(f"{file}: ")
    assert reason in message
    assert "\n" not in message


def test_a_file_that_is_not_there_and_a_folder(tmp_path: Path) -> None:
    with pytest.raises(SongError, match=r"missing\.mid: can't be read: No such file"):
        read_song(tmp_path / "missing.mid")
    with pytest.raises(SongError, match="a folder, not a song file"):
        read_song(tmp_path)


def test_a_file_over_the_size_limit_is_not_read(tmp_path: Path) -> None:
    file = tmp_path / "song.mid"
    file.write_bytes(GOOD)
    assert read_song(file, ReadSettings(max_bytes=len(GOOD))).notes
    with pytest.raises(LimitError, match="--max-file-bytes"):
        read_song(file, ReadSettings(max_bytes=len(GOOD) - 1))


def test_a_device_without_end_is_cut_off_by_the_limit() -> None:
    with pytest.raises(LimitError, match=r"/dev/zero: larger than the limit of 1,000 bytes"):
        read_song("/dev/zero", ReadSettings(max_bytes=1000))


def test_the_song_knows_its_file_and_digest(tmp_path: Path) -> None:
    # sha256sum of the 34 bytes, by coreutils.
    file = tmp_path / "harbour.mid"
    file.write_bytes(GOOD)
    song = read_song(str(file))
    assert (song.file, song.title, song.kind, song.midi_format) == (
        "harbour.mid", "harbour", "midi", 0,
    )  # fmt: skip
    assert song.sha256 == "3d3191a0845b7b4e0f0a80e6ea314e25325a48e32c451f65777913aca3672c65"


def test_a_midi_file_without_notes_is_a_song_without_notes() -> None:
    song = read(header() + track())
    assert (song.notes, song.parts, song.end_tick) == ((), (), 0)
    assert [t.notes for t in song.tracks] == [0]


def test_an_unpacked_score_over_the_limit_is_refused() -> None:
    bomb = io.BytesIO()
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("score.xml", b" " * 1_000_000)
    assert len(bomb.getvalue()) < 5000
    with pytest.raises(LimitError, match="100,000 bytes once unpacked"):
        read(bomb.getvalue(), max_bytes=100_000)


def test_errors_survive_being_sent_between_processes() -> None:
    import pickle

    with pytest.raises(ArrangerError) as caught:
        read_song_bytes(b"", "empty.mid")
    assert str(pickle.loads(pickle.dumps(caught.value))) == str(caught.value)


def test_names_in_a_file_stay_data(tmp_path: Path) -> None:
    name = "../../[red]x\x1b[2J</script>"
    event = f"00 FF 03 {len(name):02X} {name.encode().hex()}"
    song = read(header() + track(event, QUARTER_C4, end=END))
    assert song.title == name


@pytest.mark.parametrize(
    "kinds", [("FF 06 01 41",), ("FF 51 03 07 A1 20", "FF 06 01 41", "B0 07 50")]
)
def test_what_stands_beside_the_notes_has_the_same_limit(kinds: tuple[str, ...]) -> None:
    """Marks, tempos and the like, of all tracks together."""
    data = header(1, 2) + track(QUARTER_C4) + track(*[f"00 {kind}" for kind in kinds] * 4)
    assert read(data, max_notes=4 * len(kinds)).notes
    with pytest.raises(LimitError, match="events"):
        read(data, max_notes=4 * len(kinds) - 1)


def test_the_limit_on_notes_is_for_all_tracks_together() -> None:
    three = track(QUARTER_C4, QUARTER_C4, QUARTER_C4)
    data = header(1, 2) + three + three
    assert len(read(data, max_notes=6).notes) == 6
    with pytest.raises(LimitError, match="more notes than the limit"):
        read(data, max_notes=5)
