"""Notation files through music21: MusicXML, ABC, Humdrum and MEI become songs.

How a score is understood is written at `arranger.song.score.notation`. The tunes of a collection (ABC)
follow each other, as the patterns of a MIDI file do.
"""

from __future__ import annotations

import contextlib
import io
import itertools
import warnings
from collections import Counter
from typing import TYPE_CHECKING, Any, TypeVar

from arranger.errors import LimitError, SongError
from arranger.song.general_midi import PROGRAM_NAMES
from arranger.song.model import KeyChange, Note, Part, Repair, Song, TempoChange, Track
from arranger.song.score.abc_text import plain_marks, prepare_music21
from arranger.song.score.gathered import Gathered
from arranger.song.score.notation import TICKS_PER_BEAT, gather

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from arranger.settings import ReadSettings
    from arranger.song.sniff import Score

_Change = TypeVar("_Change", TempoChange, KeyChange)


def read_score(score: Score, file: str, sha256: str, settings: ReadSettings) -> Song:
    """Read a notation file; `arranger.song.score.process` has it done in bounds.

    Raises `SongError` if the asked tune isn't there; `LimitError` if it holds more than the
    settings allow; `Exception`: Of any other kind, if music21 can't read it.
    """
    # Imported here: it takes seconds, and the caller may only want the names of this module.
    with _quiet():
        from music21 import converter

        found = Gathered(settings.max_notes)
        text = score.text
        if score.kind == "abc":
            prepare_music21()
            text, thrice = plain_marks(text)
            found.marked = ":|" in text
            if thrice:
                found.remarks.append("sections to be played three times are played twice")
        parsed = converter.parseData(text, format=score.kind)
        tunes = _tunes(parsed, settings)
        start = 0
        for tune in tunes:
            start = gather(tune, found, start)
            _check(found, start, settings)
    if len(tunes) > 1:
        found.remarks.append(
            f"a collection of {len(tunes)} tunes, one after the other; choose one with --pattern"
        )
    return _song(found, _title(parsed, tunes, file), score.kind, file, sha256)


def _check(found: Gathered, end: int, settings: ReadSettings) -> None:
    """Complain about more than the settings allow."""
    if end > settings.max_beats * TICKS_PER_BEAT:
        raise LimitError(
            f"the song lasts more than {settings.max_beats:,} beats",
            remedy="raise the limit with --max-beats",
        )
    if len(found.names) > settings.max_tracks:
        raise LimitError(
            f"more than {settings.max_tracks:,} parts", remedy="raise it with --max-tracks"
        )


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
    if found.outside:
        what = f"{found.outside} notes outside the MIDI range (0 to 127) are left out"
        found.repairs.append(Repair("score", what))
    if found.graces:
        found.remarks.append(f"{found.graces} grace notes have no length of their own")
    if found.symbols:
        found.remarks.append(f"{found.symbols} chord symbols are not played")
    ordered = sorted(found.notes, key=lambda note: (note.onset, note.track))
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
        keys=_without_repeats(found.keys.values()),
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


def _without_repeats(changes: Iterable[_Change]) -> tuple[_Change, ...]:
    """Return the changes in order, without those to what holds already."""
    kinds = itertools.groupby(sorted(changes), key=lambda change: change[1:])
    return tuple(next(alike) for _kind, alike in kinds)
