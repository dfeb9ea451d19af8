"""Why a song is converted or left alone: each reason a word that stays the same, and a sentence."""

from __future__ import annotations

import os
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import ArrangerError
from arranger.options import changed_options, read_command_line

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from pathlib import Path

    from arranger.songbook.known.song_record import SongRecord

CODES = {
    "new": "not converted before",
    "lost": "the index was damaged or of another version, so nothing is known of the run before",
    "song": "the song's file changed",
    "setting": "a setting changed",
    "engine": "the engine's file changed",
    "program": "the program now converts otherwise",
    "report": "the program now writes ledgers or pages otherwise; the sheet stays",
    "sound": "the program now renders sound otherwise",
    "library": "scores are read by another version of a library",
    "place": "its files have another name now",
    "missing": "files of it are missing",
    "touched": "files of it were changed by something else",
    "sheet": "its sheet was changed since",
    "force": "edited by hand, and --force is given",
    "keep-edits": "edited by hand, and its edits are to be kept",
    "again": "it failed last time, and may have more luck",
    "unchanged": "nothing changed",
    "kept-edit": "its sheet was edited by hand and is left alone",
    "still-fails": "it failed, and nothing changed since",
    "unreadable": "it can't be read",
}
"""All reasons, in the order in which they are told; those from "unchanged" on leave a song alone."""


class Why(NamedTuple):
    """One reason."""

    code: str
    """One of `CODES`."""
    sentence: str


class Made(NamedTuple):
    """All that the outputs of a song depend on."""

    song: str = ""
    """Digest of the file; "" if it isn't known yet or can't be read."""
    stamp: str = ""
    """Size, times and number of the file; "" if they prove nothing."""
    settings: str = ""
    """As a command line."""
    engine: str = ""
    """Digest of what the engine's file says."""
    converts: str = ""
    """Digest of the program, as far as it makes sheets."""
    writes: str = ""
    """...as far as it makes the other files, without sound."""
    sounds: str = ""
    """...as far as it makes sound; "" if none is made."""
    place: str = ""
    audio: str = ""
    library: str = ""
    """What reads a score, with its version; "" for a MIDI file, which the program itself reads."""


def why_of(code: str) -> Why:
    """Return a reason with its plain sentence."""
    return Why(code, CODES[code])


def what_changed(before: Made, now: Made) -> Iterator[Why]:
    """Yield what changed of that which the outputs depend on."""
    if before.song != now.song:
        yield why_of("song")
    if before.settings != now.settings:
        yield from _settings(before.settings, now.settings)
    if before.audio != now.audio:
        yield _setting("audio", before.audio, now.audio)
    # Another engine has another file, which is no news besides.
    if before.engine != now.engine and before.settings == now.settings:
        yield why_of("engine")
    if before.converts != now.converts:
        yield why_of("program")
    elif before.writes != now.writes:
        yield why_of("report")
    if before.sounds != now.sounds and before.audio == now.audio:
        yield why_of("sound")
    if before.library != now.library:
        yield Why(
            "library", f"scores were read by {before.library or 'nothing'}, now by {now.library}"
        )
    if before.place != now.place:
        yield Why("place", f"its files were called {before.place}")


@lru_cache(maxsize=256)
def _settings(before: str, now: str) -> tuple[Why, ...]:
    try:
        options = changed_options(read_command_line(before), read_command_line(now))
    except ArrangerError:  # an option that is no more
        return (why_of("setting"),)
    return tuple(_setting(*each) for each in options)


def _setting(name: str, before: str, now: str) -> Why:
    if not before:
        return Why("setting", f"{name} is now {now}")
    if not now:
        return Why("setting", f"{name} is no longer {before}")
    return Why("setting", f"{name} changed from {before} to {now}")


def output_stamps(folder: Path, names: Iterable[str]) -> dict[str, str]:
    """Return sizes and times of outputs by name; "" for one that is missing."""
    found = {}
    for name in names:
        try:
            state = os.stat(f"{folder}/{name}")  # noqa: PTH116 - a fifth of the time of Path.stat
        except OSError:
            found[name] = ""
        else:
            found[name] = f"{state.st_size}:{state.st_mtime_ns}"
    return found


def output_changes(before: Mapping[str, str], now: Mapping[str, str]) -> Iterator[Why]:
    """Yield what happened to the outputs since they were written."""
    missing = [name for name, stamp in now.items() if not stamp and before[name]]
    touched = [name for name, stamp in now.items() if stamp and stamp != before[name]]
    sheets = [name for name in touched if name.endswith(".duet")]
    others = [name for name in touched if name not in sheets]
    if missing:
        yield Why("missing", f"{_listed(missing)} missing")
    if sheets:
        yield why_of("sheet")
    if others:
        yield Why("touched", f"{_listed(others)} changed by something else")


def _listed(names: list[str]) -> str:
    return f"{', '.join(names)} {'is' if len(names) == 1 else 'are'}"


def left(record: SongRecord) -> Why:
    """Return why a song is left as it is, of which nothing changed."""
    codes = {"done": "unchanged", "kept-edit": "kept-edit", "failed": "still-fails"}
    return why_of(codes[record.state])
