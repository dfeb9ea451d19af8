"""The timeline of a song whose beats were tracked."""

from __future__ import annotations

from math import ceil
from typing import TYPE_CHECKING

import numpy as np

from arranger.errors import LimitError
from arranger.grid.asked_bars import after_pickup, asks_place, bar_beats
from arranger.grid.doubts import bars_doubt, beat_doubt
from arranger.grid.metres import has_bars
from arranger.grid.onbeat import after_metres
from arranger.grid.timeline import BarLabel, Timeline, check_length
from arranger.grid.track.beat import FEWEST_ATTACKS, FileBeat, track_beat
from arranger.grid.track.beats_heard import BAR_BIAS
from arranger.grid.track.phase import file_phase
from arranger.song.time import seconds_at, ticks_at

if TYPE_CHECKING:
    from arranger.columns import Floats, Ints
    from arranger.grid.attacks import Attacks
    from arranger.grid.model import Doubt
    from arranger.grid.onbeat import BeatVerdict
    from arranger.grid.track.beat import TrackedBeat
    from arranger.settings import GridSettings
    from arranger.song.model import Song
    from arranger.song.notes import TimedColumns

SHORTEST_BEAT_SECONDS = 0.25
ELSEWHERE_BEATS = 0.15
ELSEWHERE_MARGIN, EXACT_MARGIN = 2.0, 5.0
"""How much likelier, as a logarithm, another phase must be before a file's beat is left: a played file
and one that was exactly written."""
LIGHT_SHARE = 0.8
LINE_SHARE = 0.95
USUAL_BEATS_A_BAR, USUAL_UNIT = 4, 4
BEATS_A_BAR = range(2, 8)


def file_beat(song: Song, notes: TimedColumns, verdict: BeatVerdict) -> FileBeat | None:
    """Return what the file says of its tempo; None if its ticks are clock time.

    Raises
    ------
    LimitError
        If the song is longer than the settings allow; see `check_length`.
    """
    if not song.own_beat:
        return None
    seconds = seconds_at(song, _beat_ticks(song, int(notes.end.max())))
    default = len(song.tempos) == 1 and song.tempos[0].microseconds_per_beat == 500_000
    return FileBeat(seconds=seconds, kept=verdict.keeps_tempo, stated=not default)


def _beat_ticks(song: Song, last: int) -> Ints:
    """Return the ticks of the file's beats up to one behind the last tick, counted from where metres begin."""
    beat = song.ticks_per_beat
    starts = [metre.tick for metre in song.metres if metre.tick <= last]
    ends = [*starts[1:], last + beat + 1]
    return np.concatenate([np.arange(*each, beat) for each in zip(starts, ends, strict=True)])


def beats_elsewhere(
    song: Song, notes: TimedColumns, attacks: Attacks, verdict: BeatVerdict
) -> bool:
    """Return whether a file that keeps its own division of the beat has its beat elsewhere.

    See `arranger.grid.onbeat`: one recording in ten stands a whole number of divisions off, and so do
    some files that were written out from a recording. Exactly written files are only looked at
    closely when less than usual stands on their beats, which saves time on nearly all of them, and not
    if they are a single line: without harmony and bass, short notes on the beat before long ones speak for the wrong place.
    """
    if attacks.count < FEWEST_ATTACKS or not verdict.keeps_tempo:
        return False
    if verdict.exact and (_is_line(notes, attacks) or not _light_beats(song, notes)):
        return False
    stated = file_beat(song, notes, verdict)
    if stated is None:
        return False
    phase, margin = file_phase(notes, attacks, stated.seconds)
    least = EXACT_MARGIN if verdict.exact else ELSEWHERE_MARGIN
    return abs(phase) > ELSEWHERE_BEATS and margin > least


def _is_line(notes: TimedColumns, attacks: Attacks) -> bool:
    """Return whether hardly any notes start together."""
    return attacks.count >= LINE_SHARE * len(notes.onset)


def _light_beats(song: Song, notes: TimedColumns) -> bool:
    """Return whether some twelfth of the beat holds nearly as much as the beat, or more."""
    lengths = np.clip((notes.end - notes.onset) / song.ticks_per_beat, 0.0, 1.0)
    twelfth = (
        np.rint(after_metres(song, notes.onset) * 12 / song.ticks_per_beat).astype(np.int64) % 12
    )
    held = np.bincount(twelfth, lengths, 12)
    return bool(held[1:].max() >= LIGHT_SHARE * held[0])


def tracked_timeline(
    song: Song,
    notes: TimedColumns,
    attacks: Attacks,
    verdict: BeatVerdict,
    settings: GridSettings,
) -> Timeline | None:
    """Return the timeline of a song by the beat that its onsets have, or None if none is found.

    Raises
    ------
    LimitError
        If the song lasts longer than the limit of steps can cover.
    """
    last = float(notes.end_seconds.max())
    check_length(song, int(notes.end.max()), settings.max_steps)
    if last / SHORTEST_BEAT_SECONDS > settings.max_steps:
        raise LimitError(
            f"the song lasts {last:.0f} s, too long for a limit of {settings.max_steps} steps",
            file=song.file,
            remedy="cut the silence out of the file, or raise --max-steps",
        )
    beat = track_beat(notes, attacks, file_beat(song, notes, verdict), settings)
    if beat is None:
        return None
    lines, of_bars = _bar_lines(song, notes, beat, settings)
    of_beat = beat_doubt(beat, float(_seconds_of(beat.seconds, lines[:1])[0]))
    pickup = int(lines[0] > 0)
    lines = np.concatenate(([0.0], lines))[1 - pickup :]
    sizes = np.diff(lines).astype(np.int64).tolist()
    if pickup and len(sizes) > 1:
        sizes[0] = sizes[1]
    labels = tuple(
        BarLabel(number + 1 - pickup, *(settings.metre or (size, USUAL_UNIT)))
        for number, size in enumerate(sizes)
    )
    return Timeline(
        basis="tracked",
        onset_beats=_beats_at(beat.seconds, notes.onset_seconds),
        end_beats=_beats_at(beat.seconds, notes.end_seconds),
        bar_beats=lines,
        bar_ticks=ticks_at(song, _seconds_of(beat.seconds, lines)),
        labels=labels,
        bpm=beat.bpm if settings.tempo is None else settings.tempo,
        own_bpm=beat.bpm,
        beats_seconds=tuple(_seconds_of(beat.seconds, np.arange(lines[-1] + 1)).tolist()),
        remarks=(_remark(beat, verdict),),
        doubts=tuple(doubt for doubt in (of_beat, of_bars) if doubt is not None),
        heard=beat,
    )


def _bar_lines(
    song: Song, notes: TimedColumns, beat: TrackedBeat, settings: GridSettings
) -> tuple[Floats, Doubt | None]:
    """Return the beats that begin bars, from the first in the song to one behind it, and what isn't sure.

    Bars are as long as the user or the file says if they say so, else as is heard.
    """
    metre, count = song.metres[0], len(beat.seconds)
    odds, heard = beat.heard.bar_odds(beat.seconds), beat.heard.lines(beat.seconds)
    said = has_bars(song) and song.own_beat
    fits = said and metre.denominator == USUAL_UNIT and metre.numerator in BEATS_A_BAR
    is_placed = asks_place(settings)
    if settings.metre or fits or heard is None or is_placed:
        size = float(USUAL_BEATS_A_BAR)
        if settings.metre:
            size = bar_beats(settings.metre)
        elif fits:
            size = metre.numerator
        elif heard is not None:
            size = int(np.bincount(np.diff(heard.lines)).argmax())
        if is_placed:
            start = float(_beats_at(beat.seconds, notes.onset_seconds).min())
            first = _asked_beat(beat, start, settings) % size
        else:
            places = range(ceil(size))
            first = max(places, key=lambda place: _odds_of(odds, np.arange(place, count, size)))
        return np.arange(first, count - 1 + size, size, dtype=np.float64), None
    lines = heard.lines.astype(np.float64)
    last = lines[-1] - lines[-2]
    lines = np.concatenate((lines, np.arange(lines[-1] + last, count - 1 + last, last)))
    lines = lines[: int(np.searchsorted(lines, count - 1)) + 1]
    return lines, bars_doubt(odds - BAR_BIAS, lines, beat.seconds)


def _asked_beat(beat: TrackedBeat, first_onset: float, settings: GridSettings) -> float:
    """Return the beat at which the user has a bar begin."""
    if settings.pickup is not None:
        return after_pickup(float(round(first_onset)), settings.pickup)
    return int(np.abs(beat.seconds - (settings.first_beat or 0.0)).argmin())


def _odds_of(odds: Floats, lines: Floats) -> float:
    """Return the log odds of bar lines at some beats; between beats there are none."""
    whole = np.rint(lines).astype(np.int64)
    whole = whole[(np.abs(lines - whole) < 0.01) & (whole < len(odds))]
    return float(odds[whole].sum())


def _beats_at(beats: Floats, seconds: Floats) -> Floats:
    """Return the positions of times among beats; outside of them the outermost tempo goes on."""
    index = np.clip(np.searchsorted(beats, seconds, side="right") - 1, 0, len(beats) - 2)
    result: Floats = index + (seconds - beats[index]) / np.diff(beats)[index]
    return result


def _seconds_of(beats: Floats, at: Floats) -> Floats:
    """Return the times of positions among beats; the inverse of `_beats_at`."""
    index = np.clip(np.floor(at).astype(np.int64), 0, len(beats) - 2)
    result: Floats = beats[index] + (at - index) * np.diff(beats)[index]
    return result


def _remark(beat: TrackedBeat, verdict: BeatVerdict) -> str:
    return (
        f"{verdict.sentence}; the beat was tracked: {beat.bpm:.4g} beats a minute, sure to "
        f"{100 * beat.sure:.0f} % (--tempo and --first-beat help, --beat file turns it off)"
    )
