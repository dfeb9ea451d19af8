"""What is in a song, before anything is decided: parts, drums, time, and how hard it will be.

How hard
--------
Two voices play at most two pitches at a time. Over the time in which any tone sounds (drums left
out), the survey takes the number of different pitches that sound together: its average, and the
share of time with more than two. The share is what must be left out or merged somewhere:

======================  =========
share of time over two  word
======================  =========
up to 5 %               easy
up to 35 %              moderate
more                    hard
======================  =========

The limits are our own, from trying songs; they only choose the word.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

from arranger.bars import minutes_text
from arranger.pitch import pitch_name
from arranger.settings import ReduceSettings
from arranger.song.general_midi import PROGRAM_NAMES, percussion_name
from arranger.song.time import seconds_at, song_bars

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from arranger.engine.model import Engine
    from arranger.song.model import Note, Song

VOICES = 2
_EASY, _MODERATE = 0.05, 0.35


class PartRow(NamedTuple):
    """One part, as people see it."""

    number: int
    """From 1, as options name it."""
    name: str
    channel: int
    """1..16."""
    program: str
    notes: int
    lowest: int | None
    """MIDI number; None for drums."""
    highest: int | None
    polyphony: int
    """The most different pitches that sound together."""
    drums: bool


class DrumKey(NamedTuple):
    """A percussion key that is played."""

    key: int
    name: str
    notes: int
    sound: str | None
    """The sound that the engine has for it, or that it is given."""
    off: bool
    """Whether its notes are to be left out."""


class Difficulty(NamedTuple):
    """How hard the song is for two voices; see the module."""

    average_pitches: float
    share_over_two: float
    outside_pitch_table: int
    """Notes, drums left out, that the engine can't play where they are written."""
    word: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Survey:
    """What is in a song."""

    song: Song
    engine: Engine
    seconds: float
    beats: float
    bars: int
    parts: tuple[PartRow, ...]
    drums: tuple[DrumKey, ...]
    difficulty: Difficulty
    beat_verdict: str


def survey(song: Song, engine: Engine, settings: ReduceSettings | None = None) -> Survey:
    """Look through a song with an engine in mind, and the drum sounds of the settings.

    Raises `UsageError` if the settings name a drum sound that the engine doesn't have.
    """
    # Imported here: the grid layer builds on this one.
    from arranger.grid.onbeat import follows_own_beat

    by_part: dict[int, list[Note]] = {part.index: [] for part in song.parts}
    for note in song.notes:
        by_part[note.part].append(note)
    return Survey(
        song=song,
        engine=engine,
        seconds=float(seconds_at(song, song.end_tick)),
        beats=song.end_tick / song.ticks_per_beat,
        bars=len(song_bars(song)) if song.notes else 0,
        parts=tuple(_part_rows(song, by_part)),
        drums=tuple(_drum_keys(song.notes, engine, settings or ReduceSettings())),
        difficulty=_difficulty(song.notes, engine),
        beat_verdict=follows_own_beat(song).sentence,
    )


def _part_rows(song: Song, by_part: dict[int, list[Note]]) -> Iterable[PartRow]:
    for part in song.parts:
        notes = by_part[part.index]
        pitches = [note.pitch for note in notes]
        yield PartRow(
            number=part.index + 1,
            name=part.name,
            channel=part.channel + 1,
            program="drums" if part.drum else PROGRAM_NAMES[part.program],
            notes=part.notes,
            lowest=None if part.drum else min(pitches),
            highest=None if part.drum else max(pitches),
            polyphony=max((count for _ticks, count in _together(notes)), default=1),
            drums=part.drum,
        )


def _drum_keys(
    notes: Sequence[Note], engine: Engine, settings: ReduceSettings
) -> Iterable[DrumKey]:
    from arranger.reduce.choose.drum_sounds import sounds_by_key, switched_off

    counted = Counter(note.pitch for note in notes if note.drum)
    off = switched_off(settings)
    for key, sound in sorted(sounds_by_key(engine, counted, settings).items()):
        name = None if sound is None else sound.name
        yield DrumKey(key, percussion_name(key), counted[key], name, key in off)


def _together(notes: Sequence[Note]) -> list[tuple[int, int]]:
    """Return (ticks, how many different pitches) for each stretch in which something sounds."""
    changes: list[tuple[int, int, int]] = []
    for note in notes:
        # A note of no length still is a note: it counts as one tick.
        changes.append((note.onset, 1, note.pitch))
        changes.append((note.onset + max(note.duration, 1), -1, note.pitch))
    changes.sort()
    sounding: Counter[int] = Counter()
    stretches: list[tuple[int, int]] = []
    before = 0
    for tick, change, pitch in changes:
        if sounding:
            stretches.append((tick - before, len(sounding)))
        before = tick
        sounding[pitch] += change
        if not sounding[pitch]:
            del sounding[pitch]
    return stretches


def _difficulty(notes: Sequence[Note], engine: Engine) -> Difficulty:
    tones = [note for note in notes if not note.drum]
    stretches = _together(tones)
    total = sum(ticks for ticks, _count in stretches) or 1
    average = sum(ticks * count for ticks, count in stretches) / total
    over = sum(ticks for ticks, count in stretches if count > VOICES) / total
    outside = sum(note.pitch not in engine.pitches for note in tones)
    word = "easy" if over <= _EASY else "moderate" if over <= _MODERATE else "hard"
    return Difficulty(average, over, outside, word)


def survey_values(found: Survey) -> dict[str, Any]:
    """Return the survey as plain values for JSON."""
    song = found.song
    return {
        "format": "arranger-survey",
        "version": 1,
        "title": song.title,
        "file": song.file,
        "sha256": song.sha256,
        "kind": song.kind,
        "midi_format": song.midi_format,
        "ticks_per_beat": song.ticks_per_beat,
        "own_beat": song.own_beat,
        "seconds": round(found.seconds, 3),
        "beats": round(found.beats, 3),
        "bars": found.bars,
        "notes": len(song.notes),
        "parts": [row._asdict() for row in found.parts],
        "drums": [key._asdict() for key in found.drums],
        "tempos": [change._asdict() for change in song.tempos],
        "metres": [change._asdict() for change in song.metres],
        "keys": [change._asdict() for change in song.keys],
        "engine": found.engine.name,
        "difficulty": found.difficulty._asdict(),
        "beat": found.beat_verdict,
        "repairs": [repair._asdict() for repair in song.repairs],
        "remarks": list(song.remarks),
    }


def survey_lines(found: Survey) -> list[str]:
    """Return the survey as lines of text; names are as in the file."""
    song = found.song
    kind = song.kind if song.midi_format is None else f"MIDI format {song.midi_format}"
    shown = [
        song.title,
        f"{song.file}: {kind}, {len(song.notes):,} notes in {len(song.parts)} parts, "
        f"{found.bars} bars, {minutes_text(found.seconds)}",
        f"tempo {_tempo(song)}; metre {_metre(song)}",
        f"beat: {found.beat_verdict}",
        "",
    ]
    if song.notes:
        shown += aligned([_HEAD, *(_part_cells(row) for row in found.parts)], "><>><>>")
        shown += ["", *_drum_lines(found), *_hard_lines(found)]
    else:
        shown.append("no notes")
    if song.repairs:
        shown += ["", f"repairs ({len(song.repairs)}):"]
        shown += [f"  {repair.place}: {repair.what}" for repair in song.repairs]
    if song.remarks:
        shown += ["", *(f"note: {remark}" for remark in song.remarks)]
    return shown


_HEAD = ("part", "name", "channel", "notes", "plays", "range", "at once")


def _part_cells(row: PartRow) -> tuple[str, ...]:
    span = ""
    if row.lowest is not None and row.highest is not None:
        span = f"{pitch_name(row.lowest)}-{pitch_name(row.highest)}"
    cells = (row.number, row.name, row.channel, row.notes, row.program, span, row.polyphony)
    return tuple(str(cell) for cell in cells)


def _drum_lines(found: Survey) -> list[str]:
    if not found.drums:
        return []
    head = ("key", "drum", "notes", f"on {found.engine.name}")
    rows = [
        (str(d.key), d.name, str(d.notes), d.sound or ("off" if d.off else "-"))
        for d in found.drums
    ]
    return [*aligned([head, *rows], "><><"), ""]


def _hard_lines(found: Survey) -> list[str]:
    hard = found.difficulty
    tones = sum(not note.drum for note in found.song.notes)
    low, high = pitch_name(found.engine.lowest), pitch_name(found.engine.highest)
    return [
        f"for two voices: {hard.word}; on average {hard.average_pitches:.1f} pitches at once, "
        f"more than two for {hard.share_over_two:.0%} of the time",
        f"outside the pitch table of {found.engine.name} ({low} to {high}): "
        f"{hard.outside_pitch_table:,} of {tones:,} notes",
    ]


def _tempo(song: Song) -> str:
    if not song.own_beat:
        return "none (ticks are clock time)"
    rates = [60e6 / change.microseconds_per_beat for change in song.tempos]
    if len(rates) == 1:
        return f"{rates[0]:.4g} beats a minute"
    return f"{min(rates):.4g} to {max(rates):.4g} beats a minute, {len(rates) - 1} changes"


def _metre(song: Song) -> str:
    names = list(dict.fromkeys(f"{m.numerator}/{m.denominator}" for m in song.metres))
    return ", ".join(names[:6]) + (" and others" if len(names) > 6 else "")


def aligned(rows: Sequence[Sequence[str]], sides: str) -> list[str]:
    """Return rows as aligned lines; ``sides`` has ``<`` or ``>`` for each column."""
    from rich.cells import cell_len

    widths = [max(map(cell_len, column)) for column in zip(*rows, strict=True)]
    return [
        "  ".join(
            " " * (width - cell_len(cell)) + cell
            if side == ">"
            else cell + " " * (width - cell_len(cell))
            for cell, width, side in zip(row, widths, sides, strict=True)
        ).rstrip()
        for row in rows
    ]
