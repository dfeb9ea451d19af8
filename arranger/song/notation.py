"""What a score that music21 parsed holds: notes, tempo, bars, keys and words.

Conventions
-----------
1. A part of the score is a track. Offsets in quarter notes become ticks, `TICKS_PER_BEAT` to one,
   which divides by 32, 9, 5 and 7; finer values are rounded.
2. Pitches are sounding pitches: transposing instruments are transposed.
3. Tied notes are one note. A tie whose next note is missing ends with its own note.
4. Repeats and endings are written out. Where music21 can't make sense of them, the score is played
   once through, and a remark says so.
5. A grace note has no length and stands where the note that it leads to stands.
6. Chord symbols and figured bass are not played.
7. Velocity follows the last dynamic mark of the part; 90 without one (music21's default).
"""

from __future__ import annotations

import contextlib
from bisect import bisect_right
from fractions import Fraction
from operator import itemgetter
from typing import Any, NamedTuple

from arranger.errors import LimitError
from arranger.song.general_midi import PERCUSSION_CHANNEL
from arranger.song.model import KeyChange, Mark, MetreChange, Repair, TempoChange

TICKS_PER_BEAT = 10080
_DEFAULT_TEMPO = 500_000
_DEFAULT_VELOCITY = 90
_SNARE = 38
_MOST_TIMES = 16
"""A repeat that asks for more is played so often."""


class ScoreNote(NamedTuple):
    """A note of one part, before parts are numbered."""

    onset: int
    end: int
    track: int
    order: int
    pitch: int
    velocity: int
    channel: int
    program: int
    drum: bool


class Gathered:
    """What has been found so far."""

    def __init__(self, limit: int) -> None:
        self.limit = limit
        self.notes: list[ScoreNote] = []
        self.names: list[str] = []
        self.tempos: dict[int, TempoChange] = {}
        self.metres: dict[int, MetreChange] = {}
        self.keys: dict[int, KeyChange] = {}
        self.marks: list[Mark] = []
        self.repairs: list[Repair] = []
        self.remarks: list[str] = []
        self.graces = 0
        self.symbols = 0


def _ticks(quarters: Any) -> int:
    return round(Fraction(quarters) * TICKS_PER_BEAT)


def gather(tune: Any, found: Gathered, start: int) -> int:
    """Add one score at a tick; return where it ends."""
    from music21 import stream

    with contextlib.suppress(Exception):
        tune = tune.toSoundingPitch()
    tune = _written_out(tune, found)
    parts = list(tune.parts) if isinstance(tune, stream.Score) else []
    end = start
    for part in parts or [tune]:
        flat = part.flatten()
        track = len(found.names)
        found.names.append(_part_name(part))
        _add_notes(flat, track, start, found)
        _add_signs(flat, start, found)
        end = max(end, start + _ticks(flat.highestTime))
    _add_tempos(tune, start, found)
    _add_bars(parts[0] if parts else tune, start, found)
    return end


def _written_out(tune: Any, found: Gathered) -> Any:
    """Return the score with its repeats written out."""
    from music21 import bar, repeat, spanner

    signs = list(tune.recurse().getElementsByClass((bar.Repeat, repeat.RepeatExpression)))
    if not signs:
        return tune
    for sign in signs:
        if isinstance(sign, bar.Repeat) and (sign.times or 0) > _MOST_TIMES:
            found.repairs.append(
                Repair("score", f"a repeat of {sign.times} times: played {_MOST_TIMES} times")
            )
            sign.times = _MOST_TIMES
    try:
        expanded = tune.expandRepeats()
    except Exception:  # noqa: BLE001 - music21 raises several kinds on repeats without sense
        expanded = None
    if expanded is None or not expanded.recurse().notes:
        found.remarks.append("the repeat signs make no sense: played once through")
        return tune
    if any(True for _ in tune.recurse().getElementsByClass(spanner.RepeatBracket)):
        found.remarks.append("repeats and endings are written out")
    else:
        found.remarks.append("repeats are written out")
    return expanded


def _part_name(part: Any) -> str:
    name = part.partName if hasattr(part, "partName") else None
    return " ".join(str(name or "").split())


def _add_notes(flat: Any, track: int, start: int, found: Gathered) -> None:
    """Add the notes of one part."""
    from music21 import dynamics, harmony, instrument

    louds = [(d.offset, d.volumeScalar) for d in flat.getElementsByClass(dynamics.Dynamic)]
    players = [(p.offset, p) for p in flat.getElementsByClass(instrument.Instrument)]
    tied: dict[int, int] = {}
    for element in flat.notes:
        if isinstance(element, harmony.Harmony):
            found.symbols += 1
            continue
        scalar = _last_before(louds, element.offset)
        velocity = max(1, min(127, round(127 * scalar))) if scalar else _DEFAULT_VELOCITY
        player = _last_before(players, element.offset)
        onset = start + _ticks(element.offset)
        if element.duration.isGrace:
            found.graces += 1
            end = onset
        else:
            end = onset + _ticks(element.duration.quarterLength)
        for single in getattr(element, "notes", (element,)):
            pitch, drum = _pitch(single, player)
            if pitch is not None:
                channel, program = _channel(track, player, drum)
                order = len(found.notes)
                note = ScoreNote(onset, end, track, order, pitch, velocity, channel, program, drum)
                tie = single.tie or element.tie
                _join_or_add(note, "" if tie is None else tie.type, tied, found)
        if element.lyric:
            found.marks.append(Mark(onset, "lyrics", str(element.lyric)))


def _last_before(entries: list[tuple[Any, Any]], offset: Any) -> Any:
    """Return the last value that stands at an offset or before it; None if there is none."""
    place = bisect_right(entries, offset, key=itemgetter(0))
    return entries[place - 1][1] if place else None


def _join_or_add(note: ScoreNote, tie: str, tied: dict[int, int], found: Gathered) -> None:
    """Add a note, or lengthen the one that it is tied to; ``tied`` has their places by pitch."""
    place = tied.pop(note.pitch, None)
    continues = tie in {"continue", "stop"}
    if continues and place is not None and found.notes[place].end == note.onset:
        found.notes[place] = found.notes[place]._replace(end=note.end)
    else:
        if len(found.notes) >= found.limit:
            raise LimitError(
                f"more than {found.limit:,} notes", remedy="raise the limit with --max-notes"
            )
        place = len(found.notes)
        found.notes.append(note)
    if tie in {"start", "continue"} and note.end > note.onset:
        tied[note.pitch] = place


def _pitch(single: Any, player: Any) -> tuple[int | None, bool]:
    """Return the MIDI number of a note, and whether it is a drum."""
    if hasattr(single, "pitch"):
        number = round(single.pitch.ps)
        drum = player is not None and player.midiChannel == PERCUSSION_CHANNEL
        return (number if 0 <= number <= 127 else None), drum
    struck = getattr(single, "storedInstrument", None) or player
    key = getattr(struck, "percMapPitch", None)
    return (_SNARE if key is None else int(key)), True


def _channel(track: int, player: Any, drum: bool) -> tuple[int, int]:
    """Return channel and program of a part; the score's own where it names them."""
    if drum:
        return PERCUSSION_CHANNEL, 0
    channel = track % 15
    channel += channel >= PERCUSSION_CHANNEL
    program = getattr(player, "midiProgram", None)
    return channel, program if isinstance(program, int) and 0 <= program <= 127 else 0


def _add_signs(flat: Any, start: int, found: Gathered) -> None:
    """Add key signatures and texts of one part."""
    from music21 import expressions, key

    for sign in flat.getElementsByClass(key.KeySignature):
        tick = start + _ticks(sign.offset)
        minor = getattr(sign, "mode", None) == "minor"
        found.keys.setdefault(tick, KeyChange(tick, sign.sharps or 0, minor))
    for mark in flat.getElementsByClass(expressions.RehearsalMark):
        found.marks.append(Mark(start + _ticks(mark.offset), "marker", str(mark.content)))


def _add_tempos(tune: Any, start: int, found: Gathered) -> None:
    """Add the tempo marks of the score."""
    found.tempos[start] = TempoChange(start, _DEFAULT_TEMPO)
    for since, _until, mark in tune.flatten().metronomeMarkBoundaries():
        rate = mark.getQuarterBPM()
        if rate:
            tick = start + _ticks(since)
            found.tempos[tick] = TempoChange(tick, max(round(60e6 / rate), 1))


def _add_bars(part: Any, start: int, found: Gathered) -> None:
    """Add a metre change wherever the score's bars are not what the metre before says."""
    from music21 import meter, stream

    metre: tuple[int, int] = (4, 4)
    expected = Fraction(0)
    found.metres[start] = MetreChange(start, *metre)
    measures = list(part.getElementsByClass(stream.Measure))
    # Short ABC tunes have no measures, only metre signs.
    for place in measures or part.flatten().getElementsByClass(meter.TimeSignature):
        sign = place.timeSignature if measures else place
        offset = Fraction(place.offset)
        changed = sign is not None and (sign.numerator, sign.denominator) != metre
        if sign is not None:
            metre = (sign.numerator, sign.denominator)
        if changed or (measures and offset != expected):
            tick = start + _ticks(offset)
            found.metres[tick] = MetreChange(tick, *metre)
        expected = offset + Fraction(4 * metre[0], metre[1])
