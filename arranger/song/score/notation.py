"""What a score that music21 parsed holds: notes, tempo, bars, keys and words.

Conventions
-----------
1. A part of the score is a track. Offsets in quarter notes become ticks, `TICKS_PER_BEAT` to one,
   which divides by 32, 9, 5 and 7; finer values are rounded.
2. Pitches are sounding pitches: transposing instruments are transposed.
3. Tied notes are one note. A tie whose next note is missing ends with its own note.
4. Repeats, endings and jumps are written out (`arranger.song.score.repeats`). Where they make no sense,
   the score is played once through, and a remark says so.
5. A grace note has no length and stands where the note that it leads to stands.
6. Chord symbols and figured bass are not played.
7. Velocity follows the last dynamic mark of the part; 90 without one (music21's default).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from fractions import Fraction
from operator import itemgetter
from typing import TYPE_CHECKING, Any, NamedTuple

from arranger.errors import LimitError
from arranger.song.general_midi import PERCUSSION_CHANNEL
from arranger.song.model import KeyChange, Mark, MetreChange, TempoChange
from arranger.song.score.gathered import Gathered, ScoreNote
from arranger.song.score.repeat_signs import written_order

if TYPE_CHECKING:
    from collections.abc import Iterator

TICKS_PER_BEAT = 10080
_DEFAULT_TEMPO = 500_000
_DEFAULT_VELOCITY = 90
_SNARE = 38
_SLOWEST = 0xFFFFFF
"""Microseconds a beat: what MIDI files can say."""
_MOST_SHARPS = 7
_NOTE_VALUES = (1, 2, 4, 8, 16, 32, 64)


def _ticks(quarters: Any) -> int:
    return round(Fraction(quarters) * TICKS_PER_BEAT)


class PlayedStretch(NamedTuple):
    """A stretch of the written score and where it is played; in ticks."""

    since: int
    until: int
    at: int


class _Bar(NamedTuple):
    """A bar as written."""

    tick: int
    metre: tuple[int, int]


def gather(tune: Any, found: Gathered, start: int) -> int:
    """Add one score at a tick; return where it ends."""
    from music21 import stream

    try:
        tune.toSoundingPitch(inPlace=True)
    except MemoryError:
        raise
    except Exception:  # noqa: BLE001 - of several kinds
        found.remarks.append("transposing instruments may sound as written")
    parts = (list(tune.parts) if isinstance(tune, stream.Score) else []) or [tune]
    if found.marked and not parts[0].getElementsByClass(stream.Measure):
        found.remarks.append("repeat signs in tunes of one bar are not played")
    flat_parts = [part.flatten() for part in parts]
    end = max((_ticks(flat.highestTime) for flat in flat_parts), default=0)
    bars = _bars(parts[0])
    measured = bool(parts[0].getElementsByClass(stream.Measure))
    order = written_order(parts, found) if measured else []
    spans, stop = _spans(bars, order, start, end)
    for part, flat in zip(parts, flat_parts, strict=True):
        track = len(found.names)
        found.names.append(_part_name(part))
        _add_notes(flat, track, spans, found)
        _add_signs(flat, spans, found)
    _add_tempos(tune, spans, found)
    _add_metres(bars, spans, measured, found)
    return stop


def _spans(
    bars: list[_Bar], order: list[int], start: int, end: int
) -> tuple[list[PlayedStretch], int]:
    """Return what is played when, without an order all of it, and where that ends.

    Bars that follow each other as written are one span.
    """
    if not order:
        return [PlayedStretch(0, end + 1, start)], start + end
    # What has no length may stand at the very end of the last bar.
    ends = [*(bar.tick for bar in bars[1:]), end + 1]
    spans: list[PlayedStretch] = []
    at, before = start, -1
    for index in order:
        since = 0 if index == 0 else bars[index].tick
        if spans and index == before + 1:
            spans[-1] = spans[-1]._replace(until=ends[index])
        else:
            spans.append(PlayedStretch(since, ends[index], at))
        at, before = at + max(min(ends[index], end) - since, 0), index
    return spans, at


def _played(written: list[Any], spans: list[PlayedStretch]) -> Iterator[tuple[Any, int]]:
    """Yield what starts in each span, with the ticks from where it is written to where it sounds.

    ``written`` are tuples that begin with their tick, in order of it.
    """
    for span in spans:
        first = bisect_left(written, span.since, key=itemgetter(0))
        last = bisect_left(written, span.until, key=itemgetter(0))
        for entry in written[first:last]:
            yield entry, span.at - span.since


def _in_force(written: list[Any], spans: list[PlayedStretch]) -> Iterator[tuple[int, Any]]:
    """Yield changes with the ticks where they are played; at each span's start what holds there."""
    for span in spans:
        place = bisect_right(written, span.since, key=itemgetter(0))
        if place:
            yield span.at, written[place - 1]
        for entry in written[place:]:
            if entry[0] >= span.until:
                break
            yield entry[0] - span.since + span.at, entry


def _part_name(part: Any) -> str:
    name = part.partName if hasattr(part, "partName") else None
    return " ".join(str(name or "").split())


def _add_notes(flat: Any, track: int, spans: list[PlayedStretch], found: Gathered) -> None:
    """Add the notes of one part."""
    tied: dict[int, int] = {}
    words: list[tuple[int, str]] = []
    for (_tick, note, tie), shift in _played(_written_notes(flat, track, words, found), spans):
        placed = note._replace(onset=note.onset + shift, end=note.end + shift)
        _join_or_add(placed, tie, tied, found)
    for (tick, text), shift in _played(words, spans):
        found.marks.append(Mark(tick + shift, "lyrics", text))


def _written_notes(
    flat: Any, track: int, words: list[tuple[int, str]], found: Gathered
) -> list[tuple[int, ScoreNote, str]]:
    """Return tick, note and tie of what is written in one part; the words go to ``words``."""
    from music21 import dynamics, harmony, instrument

    louds = [(d.offset, d.volumeScalar) for d in flat.getElementsByClass(dynamics.Dynamic)]
    players = [(p.offset, p) for p in flat.getElementsByClass(instrument.Instrument)]
    written: list[tuple[int, ScoreNote, str]] = []
    for element in flat.notes:
        if isinstance(element, harmony.Harmony):
            found.symbols += 1
            continue
        scalar = _last_before(louds, element.offset)
        velocity = max(1, min(127, round(127 * scalar))) if scalar else _DEFAULT_VELOCITY
        player = _last_before(players, element.offset)
        onset = _ticks(element.offset)
        found.graces += element.duration.isGrace
        length = 0 if element.duration.isGrace else element.duration.quarterLength
        end = onset + max(_ticks(length), 0)
        for single in getattr(element, "notes", (element,)):
            pitch, drum = _pitch(single, player)
            if not 0 <= pitch <= 127:
                found.outside += 1
                continue
            channel, program = _channel(track, player, drum)
            note = ScoreNote(onset, end, track, pitch, velocity, channel, program, drum)
            tie = single.tie or element.tie
            written.append((onset, note, "" if tie is None else tie.type))
        if element.lyric:
            words.append((onset, str(element.lyric)))
    return written


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


def _pitch(single: Any, player: Any) -> tuple[int, bool]:
    """Return the MIDI number of a note, in range or not, and whether it is a drum."""
    if hasattr(single, "pitch"):
        drum = player is not None and player.midiChannel == PERCUSSION_CHANNEL
        return round(single.pitch.ps), drum
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


def _add_signs(flat: Any, spans: list[PlayedStretch], found: Gathered) -> None:
    """Add key signatures and rehearsal marks of one part."""
    from music21 import expressions, key

    keys = [
        (_ticks(sign.offset), sign.sharps or 0, getattr(sign, "mode", None) == "minor")
        for sign in flat.getElementsByClass(key.KeySignature)
        if abs(sign.sharps or 0) <= _MOST_SHARPS
    ]
    for tick, (_written, sharps, minor) in _in_force(keys, spans):
        found.keys.setdefault(tick, KeyChange(tick, sharps, minor))
    marks = [
        (_ticks(mark.offset), str(mark.content))
        for mark in flat.getElementsByClass(expressions.RehearsalMark)
    ]
    for (tick, text), shift in _played(marks, spans):
        found.marks.append(Mark(tick + shift, "marker", text))


def _add_tempos(tune: Any, spans: list[PlayedStretch], found: Gathered) -> None:
    """Add the tempo marks of the score."""
    found.tempos[spans[0].at] = TempoChange(spans[0].at, _DEFAULT_TEMPO)
    rates = [
        (_ticks(since), rate)
        for since, _until, mark in tune.flatten().metronomeMarkBoundaries()
        if (rate := mark.getQuarterBPM() or 0) > 0
    ]
    for tick, (_written, rate) in _in_force(rates, spans):
        found.tempos[tick] = TempoChange(tick, min(max(round(60e6 / rate), 1), _SLOWEST))


def _bars(part: Any) -> list[_Bar]:
    """Return the bars of a part; where it has none (some ABC), its metre signs."""
    from music21 import meter, stream

    measures = list(part.getElementsByClass(stream.Measure))
    bars: list[_Bar] = []
    metre = (4, 4)
    for place in measures or part.flatten().getElementsByClass(meter.TimeSignature):
        sign = place.timeSignature if measures else place
        # Other denominators have no note value of their own.
        if sign is not None and sign.denominator in _NOTE_VALUES and sign.numerator > 0:
            metre = (sign.numerator, sign.denominator)
        bars.append(_Bar(_ticks(place.offset), metre))
    return bars


def _add_metres(
    bars: list[_Bar], spans: list[PlayedStretch], measured: bool, found: Gathered
) -> None:
    """Add a metre change wherever the bars played are not what the metre before says."""
    metre = (4, 4)
    expected = spans[0].at
    found.metres[expected] = MetreChange(expected, *metre)
    for bar, shift in _played(bars, spans):
        tick = bar.tick + shift
        if bar.metre != metre or (measured and tick != expected):
            found.metres[tick] = MetreChange(tick, *bar.metre)
        metre = bar.metre
        expected = tick + TICKS_PER_BEAT * 4 * metre[0] // metre[1]
