"""Where notes and bar lines stand in beats, whichever way the beats were found.

Conventions
-----------
A beat is a quarter note. ``bar_beats`` has one entry more than there are bars: bar ``i`` goes from
``bar_beats[i]`` to ``bar_beats[i + 1]``. When the clock is followed, a "beat" is a fixed time, the
beat of the song's median tempo, so that steps are uniform in seconds.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.errors import LimitError
from arranger.grid.bars.metres import with_bars
from arranger.song.time import seconds_at, song_bars

if TYPE_CHECKING:
    from arranger.columns import Floats, Ints
    from arranger.grid.attacks import Attacks
    from arranger.grid.doubt import Doubt
    from arranger.grid.track.beat import TrackedBeat
    from arranger.settings import GridSettings
    from arranger.song.model import Song
    from arranger.song.notes import TimedColumns


class BarLabel(NamedTuple):
    """What a bar is called and its metre."""

    number: int
    numerator: int
    denominator: int


class Timeline(NamedTuple):
    """Notes and bars in beats."""

    basis: str
    onset_beats: Floats
    """Shape (notes,)."""
    end_beats: Floats
    """Shape (notes,)."""
    bar_beats: Floats
    """Shape (bars + 1,), increasing."""
    bar_ticks: Ints
    """Shape (bars + 1,): the tick of each bar line."""
    labels: tuple[BarLabel, ...]
    bpm: float
    """The tempo that is asked for."""
    own_bpm: float
    """The song's own, the median over its beats."""
    beats_seconds: tuple[float, ...] = ()
    """When tracked: the time of each beat."""
    beat_length: float = 1.0
    """Of those beats, in quarter notes: 1.5 where they divide in three."""
    remarks: tuple[str, ...] = ()
    doubts: tuple[Doubt, ...] = ()
    heard: TrackedBeat | None = None
    """When tracked: how sure each beat is, and the likeliest other readings."""


def file_timeline(
    song: Song, notes: TimedColumns, attacks: Attacks, settings: GridSettings
) -> Timeline:
    """Return the timeline of a song by its own beats, or by its clock if the settings say so.

    Raises `LimitError` if the song is so long that even a step a beat would be too many; found by
    arithmetic, before anything of that size is made.
    """
    last_tick = int(notes.end.max())
    check_length(song, last_tick, settings.max_steps)
    bpm = prevailing_bpm(song, int(notes.onset[0]), last_tick)
    song, pickup, bar_remarks, doubt = with_bars(song, notes, attacks, bpm, settings)
    check_length(song, last_tick, settings.max_steps)
    # The last onset may be carried over the last bar line by half a step.
    step_beats = max(float(settings.step or 1), 1.0)
    reach = int(notes.onset[-1]) + int(step_beats * song.ticks_per_beat) + 1
    found = song_bars(song, max(last_tick, reach))
    bar_ticks = np.array([bar.start for bar in found] + [found[-1].end], dtype=np.int64)
    labels = tuple(BarLabel(bar.number - pickup, *bar[3:]) for bar in found)
    if settings.clock == "clock":
        scale = bpm / 60.0
        onset_beats = notes.onset_seconds * scale
        end_beats = notes.end_seconds * scale
        bar_beats = seconds_at(song, bar_ticks) * scale
    else:
        onset_beats = notes.onset / song.ticks_per_beat
        end_beats = notes.end / song.ticks_per_beat
        bar_beats = bar_ticks / song.ticks_per_beat
    return Timeline(
        basis="file",
        onset_beats=onset_beats,
        end_beats=end_beats,
        bar_beats=bar_beats,
        bar_ticks=bar_ticks,
        labels=labels,
        bpm=bpm if settings.tempo is None else settings.tempo,
        own_bpm=bpm,
        remarks=bar_remarks,
        doubts=(doubt,) if doubt else (),
    )


def check_length(song: Song, last_tick: int, max_steps: int) -> None:
    """Refuse a song whose beats or bars alone are more than the limit of steps.

    Raises `LimitError` if so.
    """
    beats = last_tick / song.ticks_per_beat
    starts = [metre.tick for metre in song.metres] + [last_tick]
    bar_count = sum(
        max(end - begin, 0) * metre.denominator / (4 * metre.numerator * song.ticks_per_beat)
        for metre, begin, end in zip(song.metres, starts[:-1], starts[1:], strict=True)
    )
    if max(beats, bar_count) > max_steps:
        raise LimitError(
            f"the song is {beats:.0f} beats ({bar_count:.0f} bars) long, "
            f"more than the limit of {max_steps} steps",
            file=song.file,
            remedy="cut the silence out of the file, or raise --max-steps",
        )


def prevailing_bpm(song: Song, first_tick: int, last_tick: int) -> float:
    """Return the median of the tempo over the beats between two ticks."""
    span: dict[int, int] = {}
    last_tick = max(last_tick, first_tick + 1)
    starts = [change.tick for change in song.tempos] + [max(last_tick, song.tempos[-1].tick)]
    for change, begin, end in zip(song.tempos, starts[:-1], starts[1:], strict=True):
        inside = max(min(end, last_tick) - max(begin, first_tick), 0)
        tempo = change.microseconds_per_beat
        span[tempo] = span.get(tempo, 0) + inside
    tempos = np.array(sorted(span))
    passed = np.cumsum([span[tempo] for tempo in sorted(span)])
    return 60e6 / int(tempos[np.searchsorted(passed, passed[-1] / 2)])
