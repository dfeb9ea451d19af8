"""From a file to a song: look at the bytes, and hand them to the reader that fits."""

from __future__ import annotations

from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING

from arranger.errors import ArrangerError, LimitError, SongError
from arranger.settings import ReadSettings
from arranger.song.midi.reading import read_midi

if TYPE_CHECKING:
    from arranger.song.model import Song

_DEFAULTS = ReadSettings()


def read_song(path: str | Path, settings: ReadSettings = _DEFAULTS) -> Song:
    """Read a song file.

    Parameters
    ----------
    path
        A Standard MIDI File, or a score in MusicXML, ABC, Humdrum or MEI.
    settings
        Limits, the sustain pedal, drum channels, the pattern of a format 2 file.

    Raises
    ------
    SongError
        If the file isn't there or holds no music that can be read.
    LimitError
        If it holds more than the settings allow.
    """
    path = Path(path)
    try:
        if path.is_dir():
            raise SongError("a folder, not a song file", file=path, remedy="name one file")
        with path.open("rb") as file:
            # No more than allowed, whatever the size that the system tells: pipes tell none.
            data = file.read(settings.max_bytes + 1)
    except OSError as error:
        raise SongError(f"can't be read: {error.strerror or error}", file=path) from error
    if len(data) > settings.max_bytes:
        raise too_large(settings.max_bytes).in_file(path)
    try:
        return read_song_bytes(data, path.name, settings)
    except ArrangerError as error:
        raise error.in_file(path) from error.__cause__


def too_large(most: int) -> LimitError:
    """Return the error that a file is larger than allowed."""
    return LimitError(
        f"larger than the limit of {most:,} bytes", remedy="raise it with --max-file-bytes"
    )


def read_song_bytes(data: bytes, name: str, settings: ReadSettings = _DEFAULTS) -> Song:
    """Read a song from the bytes of its file; ``name`` is the file's name. See `read_song`."""
    digest = sha256(data).hexdigest()
    if data.startswith(b"MThd"):
        return read_midi(data, name, digest, settings)
    # Imported here: it is only needed for what isn't plainly a MIDI file.
    from arranger.song.sniff import holds_midi

    if holds_midi(data):
        return read_midi(data, name, digest, settings)
    from arranger.song.score.process import read_apart

    return read_apart(data, name, digest, settings)
