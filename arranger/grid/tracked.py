"""The timeline of a song whose beats were tracked."""

from __future__ import annotations

from fractions import Fraction
from math import ceil
from typing import TYPE_CHECKING

import numpy as np

from arranger.bars import metre_beat
from arranger.errors import LimitError
from arranger.grid.bars.asked_bars import asks_place, bar_beats
from arranger.grid.bars.doubts import bars_doubt, beat_doubt
from arranger.grid.bars.metre_names import metre_of_beats
from arranger.grid.bars.metres import has_bars
from arranger.grid.onbeat import after_metres
from arranger.grid.timeline import BarLabel, Timeline, check_length
from arranger.grid.track.beat import FEWEST_ATTACKS, FileBeat, track_beat
from arranger.grid.track.networks.beats_heard import BAR_BIAS
from arranger.grid.track.phase import file_phase
from arranger.song.time import seconds_at, ticks_at

if TYPE_CHECKING:
    from arranger.columns import Floats, Ints
    from arranger.grid.attacks import Attacks
    from arranger.grid.doubt import Doubt
    from arranger.grid.onbeat import BeatVerdict
    from arranger.grid.track.beat import TrackedBeat
    from arranger.grid.track.networks.bars_heard import LikeliestBars
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
DOTTED = Fraction(3, 2)
"""The beat of compound metres, in quarter notes."""
LEAST_THIRDS = 4.0
"""The network's log odds from which beats are taken to divide in three, if more starts on either third of them than
on the half: so of 146 performances 138 are right, of 100 by composers that it doesn't know all, and seven in ten are found."""
NEAR_PART = 0.08
"""In beats: how far off a part of the beat a note may start."""
BEATS_A_BAR = range(2, 8)
NEAR_BEAT = 0.01


def file_beat(song: Song, notes: TimedColumns, verdict: BeatVerdict) -> FileBeat | None:
    """Return what the file says of its tempo; None if its ticks are clock time.

    Raises `LimitError` if the song is longer than the settings allow; see `check_length`.
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
    song: Song, notes: TimedColumns, attacks: Attacks, verdict: BeatVerdict, settings: GridSettings
) -> Timeline | None:
    """Return the timeline of a song by the beat that its onsets have, or None if none is found.

    Raises `LimitError` if the song lasts longer than the limit of steps can cover.
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
    onsets = beats_at(beat.seconds, notes.onset_seconds)
    length = _beat_length(beat, onsets, _said_metre(song, settings), settings)
    lines, of_bars = _bar_lines(song, beat, onsets, length, settings)
    of_beat = beat_doubt(beat, float(_seconds_of(beat.seconds, lines[0])))
    pickup = int(lines[0] > 0)
    lines = np.concatenate(([0.0], lines))[1 - pickup :]
    sizes = np.diff(lines).astype(np.int64).tolist()
    if pickup and len(sizes) > 1:
        sizes[0] = sizes[1]
    labels = tuple(
        BarLabel(number + 1 - pickup, *(settings.metre or metre_of_beats(size, length)))
        for number, size in enumerate(sizes)
    )
    return Timeline(
        basis="tracked",
        onset_beats=length * onsets,
        end_beats=length * beats_at(beat.seconds, notes.end_seconds),
        bar_beats=length * lines,
        bar_ticks=ticks_at(song, _seconds_of(beat.seconds, lines)),
        labels=labels,
        bpm=length * (beat.bpm if settings.tempo is None else settings.tempo),
        own_bpm=length * beat.bpm,
        beats_seconds=tuple(_seconds_of(beat.seconds, np.arange(lines[-1] + 1)).tolist()),
        beat_length=length,
        remarks=(_remark(beat, verdict, length),),
        doubts=tuple(doubt for doubt in (of_beat, of_bars) if doubt is not None),
        heard=beat,
    )


def _said_metre(song: Song, settings: GridSettings) -> tuple[int, int] | None:
    """Return the metre that the user or the file says."""
    said = has_bars(song) and song.own_beat
    return settings.metre or (song.metres[0][1:] if said else None)


def _beat_length(
    beat: TrackedBeat, onsets: Floats, metre: tuple[int, int] | None, settings: GridSettings
) -> float:
    """Return the length of a beat in quarter notes: 1.5 where beats are heard to divide in three.

    Not where another metre than a compound one is said. Where the user says one, less has to speak for it.
    """
    if metre is not None and metre_beat(*metre) != DOTTED:
        return 1.0
    least = 0.0 if settings.metre else LEAST_THIRDS
    return float(DOTTED) if in_thirds(beat, onsets, least) else 1.0


def in_thirds(beat: TrackedBeat, onsets: Floats, least: float = LEAST_THIRDS) -> bool:
    """Return whether beats divide in three; ``onsets`` of notes are in beats."""
    place = onsets % 1.0
    thirds, halves = (
        np.count_nonzero(np.abs(place[:, None] - places) < NEAR_PART)
        for places in ((1 / 3, 2 / 3), (1 / 2,))
    )
    return bool(beat.heard.thirds >= least and thirds > 2 * halves)


def _bar_lines(
    song: Song, beat: TrackedBeat, onsets: Floats, length: float, settings: GridSettings
) -> tuple[Floats, Doubt | None]:
    """Return the beats that begin bars, from the first in the song to one behind it, and what isn't sure.

    Bars are as long as the user or the file says if they say so, else as is heard.
    """
    count, odds = len(beat.seconds), beat.heard.bar_odds(beat.seconds)
    heard = beat.heard.lines(beat.seconds)
    said = _said_size(song, settings, length)
    if asks_place(settings):
        size = said or _heard_size(heard)
        first = _asked_beat(beat, float(onsets.min()), length, settings) % size
        return np.arange(first, count - 1 + size, size, dtype=np.float64), None
    if said or heard is None:
        lines = even_lines(odds, said or USUAL_BEATS_A_BAR)
    else:
        lines = heard.lines[: int(np.searchsorted(heard.lines, count - 1)) + 1].astype(np.float64)
    whole = np.rint(lines).astype(np.int64)
    if np.abs(lines - whole).max() > NEAR_BEAT or len(lines) < 2:
        return lines, None
    return lines, bars_doubt(odds - BAR_BIAS, whole, beat, length, said=said is not None)


def _said_size(song: Song, settings: GridSettings, length: float) -> float | None:
    """Return the beats of a bar, if the user or the file says so."""
    metre = _said_metre(song, settings)
    if metre is None:
        return None
    size = bar_beats(metre) / length
    usual = length > 1.0 or metre[1] == USUAL_UNIT
    return size if settings.metre or (usual and size in BEATS_A_BAR) else None


def _heard_size(heard: LikeliestBars | None) -> float:
    """Return the beats of most bars that are heard."""
    return float(USUAL_BEATS_A_BAR if heard is None else np.bincount(np.diff(heard.lines)).argmax())


def even_lines(odds: Floats, size: float) -> Floats:
    """Return the likeliest bar lines so many beats apart, to one behind the last beat."""
    count = len(odds)
    places = range(ceil(size))
    first = max(places, key=lambda place: _odds_of(odds, np.arange(place, count, size)))
    return np.arange(first, count - 1 + size, size, dtype=np.float64)


def _asked_beat(
    beat: TrackedBeat, first_onset: float, length: float, settings: GridSettings
) -> float:
    """Return the beat at which the user has a bar begin."""
    if settings.pickup is None:
        return int(np.abs(beat.seconds - (settings.first_beat or 0.0)).argmin())
    parts = 3 if length > 1.0 else 1
    return round(first_onset * parts) / parts + float(settings.pickup) / length


def _odds_of(odds: Floats, lines: Floats) -> float:
    """Return the log odds of bar lines at some beats; between beats there are none."""
    whole = np.rint(lines).astype(np.int64)
    whole = whole[(np.abs(lines - whole) < NEAR_BEAT) & (whole < len(odds))]
    return float(odds[whole].sum())


def beats_at(beats: Floats, seconds: Floats) -> Floats:
    """Return the positions of times among beats; outside of them the outermost tempo goes on."""
    index = np.clip(np.searchsorted(beats, seconds, side="right") - 1, 0, len(beats) - 2)
    result: Floats = index + (seconds - beats[index]) / np.diff(beats)[index]
    return result


def _seconds_of(beats: Floats, at: Floats) -> Floats:
    """Return the times of positions among beats; the inverse of `beats_at`."""
    index = np.clip(np.floor(at).astype(np.int64), 0, len(beats) - 2)
    result: Floats = beats[index] + (at - index) * np.diff(beats)[index]
    return result


def _remark(beat: TrackedBeat, verdict: BeatVerdict, length: float) -> str:
    dotted = "dotted " if length > 1.0 else ""
    return (
        f"{verdict.sentence}; the beat was tracked: {beat.bpm:.4g} {dotted}beats a minute, sure to "
        f"{100 * beat.sure:.0f} % (--tempo and --first-beat help, --beat file turns it off)"
    )
