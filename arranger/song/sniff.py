"""What a file is, by its bytes; its name only helps where the bytes leave it open."""

from __future__ import annotations

import io
import re
import zipfile
from typing import NamedTuple

from arranger.errors import LimitError, SongError
from arranger.song.charsets import decode_document
from arranger.song.midi.chunks import midi_start

_OTHER_FILES: tuple[tuple[bytes, str], ...] = (
    (b"\x1f\x8b", "a gzip archive"),
    (b"BZh", "a bzip2 archive"),
    (b"7z\xbc\xaf", "a 7z archive"),
    (b"Rar!", "a RAR archive"),
    (b"%PDF", "a PDF document"),
    (b"\x89PNG", "a PNG picture"),
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"GIF8", "a GIF picture"),
    (b"ID3", "MP3 audio"),
    (b"\xff\xfb", "MP3 audio"),
    (b"OggS", "Ogg audio"),
    (b"fLaC", "FLAC audio"),
    (b"FORM", "an IFF file"),
    (b"{\\rtf", "an RTF document"),
    (b"\xd0\xcf\x11\xe0", "an old office document"),
    (b"\x7fELF", "a program"),
    (b"MZ", "a program"),
)
"""How files begin that people take for songs (common practice)."""

_SHEET = b"arranger-sheet "
_ZIP = b"PK\x03\x04"
_UNPACK = "unpack it and name the song inside"
_WANTED = "songs are MIDI, MusicXML, ABC, Humdrum or MEI files"
_HUMDRUM = re.compile(r"^\*\*\w+", re.MULTILINE)
_ABC = re.compile(r"^X:\s*\d+", re.MULTILINE), re.compile(r"^K:", re.MULTILINE)
_ROMAN_TEXT = re.compile(r"^m\d+\S* .*\b[ivIV]+", re.MULTILINE)
_LOOKED_AT = 20_000
"""Characters in which a format must show itself."""


class Score(NamedTuple):
    """A notation file as text."""

    kind: str
    """"musicxml", "abc", "humdrum" or "mei"."""
    text: str


def holds_midi(data: bytes) -> bool:
    """Return whether the bytes hold MIDI data; if not they may hold a score, see `score_of`.

    Raises `SongError` if they are plainly neither; the message names what they are.
    """
    if not data.strip(b"\0 \t\r\n"):
        raise SongError("the file is empty" if not data else "the file holds nothing but blanks")
    if data.startswith(_ZIP):
        return False
    if midi_start(data) >= 0:
        return True
    if data.startswith(_SHEET):
        raise SongError("a sheet, not a song", remedy="arranger render, export and report take it")
    for start, name in _OTHER_FILES:
        if data.startswith(start):
            remedy = _UNPACK if "archive" in name else _WANTED
            raise SongError(f"{name}, not a song", remedy=remedy)
    if data.startswith(b"RIFF"):
        what = {b"WAVE": "WAVE audio", b"AVI ": "an AVI film"}.get(data[8:12], "a RIFF file")
        raise SongError(f"{what} without MIDI data in it", remedy=_WANTED)
    return False


def score_of(data: bytes, max_bytes: int) -> Score:
    """Return the score that the bytes hold.

    Raises `SongError` if they hold none; the message names what they are; `LimitError` if a
    compressed score is larger than ``max_bytes`` once unpacked.
    """
    return _score(_unzipped(data, max_bytes) if data.startswith(_ZIP) else data)


def _score(data: bytes) -> Score:
    """Tell the notation format of a text."""
    text = decode_document(data)
    top = text[:_LOOKED_AT]
    if top.lstrip().startswith("<"):
        return Score(_xml_kind(text, top), text)
    if _HUMDRUM.search(top):
        return Score("humdrum", text)
    if all(pattern.search(text) for pattern in _ABC):
        return Score("abc", text)
    if _ROMAN_TEXT.search(top):
        raise SongError("an analysis of harmony without notes", remedy=_WANTED)
    if b"MThd".startswith(data):
        raise SongError("a MIDI file that is cut off in its header")
    if "\0" in top or sum(not c.isprintable() and not c.isspace() for c in top) > len(top) / 10:
        raise SongError("no song that is known here", remedy=_WANTED)
    raise SongError("plain text, not a song", remedy=_WANTED)


def _xml_kind(text: str, top: str) -> str:
    if "<!ENTITY" in text:
        raise SongError("XML that defines its own entities, which no score needs")
    if re.search(r"<(\w+:)?(score-partwise|score-timewise)\b", top):
        return "musicxml"
    if re.search(r"<(\w+:)?mei\b|music-encoding\.org", top):
        return "mei"
    if re.search(r"<(!doctype\s+)?html\b", top.lower()):
        raise SongError("a web page, not a song", remedy="download the song itself")
    raise SongError("XML that is neither MusicXML nor MEI", remedy=_WANTED)


def _unzipped(data: bytes, max_bytes: int) -> bytes:
    """Return the score inside a compressed MusicXML file (MusicXML 4.0, container format)."""
    try:
        with (
            zipfile.ZipFile(io.BytesIO(data)) as archive,
            archive.open(_root_file(archive)) as file,
        ):
            unpacked = file.read(max_bytes + 1)
    except (SongError, MemoryError):
        raise
    except Exception as error:  # of many kinds: zipfile trusts what the archive says of itself
        raise SongError("a damaged zip archive", remedy="fetch or export the score anew") from error
    if len(unpacked) > max_bytes:
        raise LimitError(
            f"more than {max_bytes:,} bytes once unpacked",
            remedy="raise the limit with --max-file-bytes",
        )
    return unpacked


def _root_file(archive: zipfile.ZipFile) -> str:
    """Return the name of the score in the archive."""
    names = archive.namelist()
    if "META-INF/container.xml" in names:
        with archive.open("META-INF/container.xml") as file:
            container = file.read(_LOOKED_AT).decode("utf-8", "replace")
        found = re.search(r"full-path\s*=\s*[\"']([^\"']+)[\"']", container)
        if found is not None and found[1] in names:
            return found[1]
    scores = [n for n in names if n.endswith((".xml", ".musicxml")) and "META-INF" not in n]
    if not scores:
        raise SongError("a zip archive that is no compressed MusicXML", remedy=_UNPACK)
    return scores[0]
