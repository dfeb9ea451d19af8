"""Notation files through music21: MusicXML, ABC, Humdrum and MEI become songs.

How a score is understood is written at `arranger.song.notation`. The tunes of a collection (ABC)
follow each other, as the patterns of a MIDI file do.
"""

from __future__ import annotations

import contextlib
import io
import warnings
from collections import Counter
from typing import TYPE_CHECKING, Any

from arranger.errors import LimitError, SongError
from arranger.song.general_midi import PROGRAM_NAMES
from arranger.song.model import Note, Part, Song, TempoChange, Track
from arranger.song.notation import TICKS_PER_BEAT, Gathered, gather

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from arranger.settings import ReadSettings
    from arranger.song.sniff import Score


def read_score(score: Score, file: str, sha256: str, settings: ReadSettings) -> Song:
    """Read a notation file.

    Raises
    ------
    SongError
        If music21 can't read it, or the asked tune isn't there.
    LimitError
        If it holds more than the settings allow.
    """
    parsed = _parse(score)
    found = Gathered(settings.max_notes)
    tunes = _tunes(parsed, settings)
    start = 0
    for tune in tunes:
        with _quiet():
            try:
                start = gather(tune, found, start)
            except (SongError, LimitError):
                raise
            except Exception as error:
                raise _unreadable(error) from error
        if start > settings.max_beats * TICKS_PER_BEAT:
            raise LimitError(
                f"the song lasts more than {settings.max_beats:,} beats",
                remedy="raise the limit with --max-beats",
            )
        if len(found.names) > settings.max_tracks:
            raise LimitError(
                f"more than {settings.max_tracks:,} parts", remedy="raise it with --max-tracks"
            )
    if len(tunes) > 1:
        found.remarks.append(
            f"a collection of {len(tunes)} tunes, one after the other; choose one with --pattern"
        )
    return _song(found, _title(parsed, tunes, file), score.kind, file, sha256)


def _parse(score: Score) -> Any:
    """Let music21 parse the text."""
    with _quiet():
        # Imported here: it takes seconds, and most songs are MIDI files.
        from music21 import converter

        try:
            return converter.parseData(score.text, format=score.kind)
        except Exception as error:
            raise _unreadable(error) from error


def _unreadable(error: Exception) -> SongError:
    detail = str(error).strip().partition("\n")[0] or type(error).__name__
    return SongError(f"the score can't be read: {detail}", remedy="check it in a notation program")


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Keep music21's remarks off the terminal for a while."""
    with (
        warnings.catch_warnings(),
        contextlib.redirect_stderr(io.StringIO()),
        contextlib.redirect_stdout(io.StringIO()),
    ):
        warnings.simplefilter("ignore")
        yield


def _tunes(parsed: Any, settings: ReadSettings) -> list[Any]:
    """Return the tunes of a collection that were asked for, or the one score."""
    from music21 import stream

    tunes = list(parsed.scores) if isinstance(parsed, stream.Opus) else [parsed]
    if settings.pattern is None:
        return tunes
    if not 1 <= settings.pattern <= len(tunes):
        raise SongError(
            f"there is no pattern {settings.pattern}",
            remedy=f"choose one from 1 to {len(tunes)} with --pattern",
        )
    return [tunes[settings.pattern - 1]]


def _title(parsed: Any, tunes: list[Any], file: str) -> str:
    for scored in (tunes[0] if len(tunes) == 1 else parsed, parsed):
        data = scored.metadata
        for written in (data.title, data.movementName) if data is not None else ():
            if written and str(written).strip():
                return " ".join(str(written).split())
    return file.rpartition(".")[0] or file


def _song(found: Gathered, title: str, kind: str, file: str, sha256: str) -> Song:
    """Make the song; its parts are numbered in the order in which they first sound."""
    if found.graces:
        found.remarks.append(f"{found.graces} grace notes have no length of their own")
    if found.symbols:
        found.remarks.append(f"{found.symbols} chord symbols are not played")
    ordered = sorted(found.notes, key=lambda n: (n.onset, n.track, n.order))
    parts: dict[tuple[int, int, int, bool], int] = {}
    notes: list[Note] = []
    counts = Counter(note.track for note in ordered)
    for number, note in enumerate(ordered):
        key = (note.track, note.channel, note.program, note.drum)
        part = parts.setdefault(key, len(parts))
        notes.append(
            Note(
                number,
                part,
                note.track,
                note.channel,
                note.onset,
                note.end - note.onset,
                note.pitch,
                note.velocity,
                note.velocity / 127,
                note.drum,
            )
        )
    return Song(
        title=title,
        file=file,
        sha256=sha256,
        kind=kind,
        midi_format=None,
        ticks_per_beat=TICKS_PER_BEAT,
        own_beat=True,
        notes=tuple(notes),
        parts=tuple(_parts(parts, notes, found.names)),
        tracks=tuple(Track(index, name, counts[index]) for index, name in enumerate(found.names)),
        tempos=_without_repeats(found.tempos.values()),
        metres=tuple(sorted(found.metres.values())),
        keys=tuple(sorted(found.keys.values())),
        marks=tuple(sorted(found.marks, key=lambda mark: mark.tick)),
        repairs=tuple(found.repairs),
        remarks=tuple(dict.fromkeys(found.remarks)),
    )


def _parts(
    parts: dict[tuple[int, int, int, bool], int], notes: list[Note], names: list[str]
) -> Iterable[Part]:
    counts = Counter(note.part for note in notes)
    for (track, channel, program, drum), index in parts.items():
        yield Part(
            index=index,
            track=track,
            channel=channel,
            program=program,
            name=names[track] or ("Drums" if drum else PROGRAM_NAMES[program]),
            drum=drum,
            pan=64,
            notes=counts[index],
        )


def _without_repeats(changes: Iterable[TempoChange]) -> tuple[TempoChange, ...]:
    kept: list[TempoChange] = []
    for change in sorted(changes):
        if not kept or kept[-1].microseconds_per_beat != change.microseconds_per_beat:
            kept.append(change)
    return tuple(kept)
