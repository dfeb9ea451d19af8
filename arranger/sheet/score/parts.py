"""The parts of a score: voice 1, voice 2 and the drums, each as bars of named notes."""

from __future__ import annotations

from bisect import bisect_right
from typing import TYPE_CHECKING, NamedTuple

from arranger.rows import tone_spans
from arranger.sheet.record.base import base_of
from arranger.sheet.score.clefs import choose_clefs
from arranger.sheet.score.drums import strokes_of
from arranger.sheet.score.key import Key, choose_keys
from arranger.sheet.score.score_bars import Sound, write_hits, write_tones
from arranger.sheet.score.spelling import tone_names
from arranger.sheet.sounds import sounds_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from fractions import Fraction

    from arranger.engine.model import Engine
    from arranger.sheet.model import Sheet
    from arranger.sheet.score.clefs import Clef
    from arranger.sheet.score.drums import Stroke
    from arranger.sheet.score.measures import Measure
    from arranger.sheet.score.score_bars import ScoreBar
    from arranger.sheet.score.spelling import Name


_AROUND = 2
"""Quarter notes before and after a tone that say how it is spelled."""


class VoicePart(NamedTuple):
    """One of the two voices."""

    bars: list[ScoreBar]
    names: list[Name]
    """Of each tone."""
    clefs: list[Clef]
    """Of each bar."""


class DrumVoice(NamedTuple):
    """One of the two voices of the drums."""

    bars: list[ScoreBar]
    strokes: list[tuple[Stroke, ...]]
    """What each hit strikes at once."""

    def is_struck(self, index: int) -> bool:
        """Return whether anything is struck in a bar."""
        return any(value.what is not None for value in self.bars[index].values)


class DrumStaff(NamedTuple):
    """The drums."""

    upper: DrumVoice
    lower: DrumVoice


def keys_of(sheet: Sheet, measures: Sequence[Measure]) -> list[Key]:
    """Return the key of each measure."""
    named = _named_keys(sheet)
    bars: list[list[tuple[int, float]]] = [[] for _ in measures]
    starts = [measure.first_step for measure in measures]
    for row in (sheet.voice1, sheet.voice2):
        for start, end, pitch in tone_spans(row):
            bars[bisect_right(starts, start) - 1].append((pitch, end - start))
    return choose_keys(bars, [named[bisect_right(sheet.bar_starts, at) - 1] for at in starts])


def _named_keys(sheet: Sheet) -> list[Key | None]:
    """Return the key that the song names for each bar; bars by hand have that of the one before."""
    base = base_of(sheet)
    found: list[Key | None] = []
    for origin in base.matched:
        if base.keys and origin is not None:
            found.append(Key(*base.keys[origin]))
        else:
            found.append(found[-1] if found else None)
    return found


def voice_parts(sheet: Sheet, measures: Sequence[Measure], keys: Sequence[Key]) -> list[VoicePart]:
    """Return both voices."""
    starts = [measure.first_step for measure in measures]

    def key_at(step: int) -> Key:
        return keys[bisect_right(starts, step) - 1]

    lines = [list(tone_spans(row)) for row in (sheet.voice1, sheet.voice2)]
    found = []
    for line, other in (lines, lines[::-1]):
        names = tone_names(line, other, key_at, int(_AROUND / sheet.step_beats))
        tones = [Sound(start, end, index) for index, (start, end, _) in enumerate(line)]
        bars = write_tones(tones, measures, sheet.step_beats)
        heads = [[names[v.what] for v in bar.values if v.what is not None] for bar in bars]
        found.append(VoicePart(bars, names, choose_clefs(heads)))
    return found


def drum_part(sheet: Sheet, engine: Engine, measures: Sequence[Measure]) -> DrumStaff | None:
    """Return the drums; None where nothing is struck."""
    sounds = sounds_of(sheet, engine)
    strokes = {name: strokes_of(name, sounds) for name in {*sheet.drums} if name is not None}
    row = [strokes[name] if name else ((), ()) for name in sheet.drums]
    upper, lower = ([each[voice] for each in row] for voice in (0, 1))
    if not any(upper) and not any(lower):
        return None
    step = sheet.step_beats
    return DrumStaff(_drum_voice(upper, measures, step), _drum_voice(lower, measures, step))


def _drum_voice(
    row: Sequence[tuple[Stroke, ...]], measures: Sequence[Measure], step: Fraction
) -> DrumVoice:
    """Return one of the voices of what is struck on each step."""
    steps = [at for at, strokes in enumerate(row) if strokes]
    hits = [Sound(at, at + 1, index) for index, at in enumerate(steps)]
    return DrumVoice(write_hits(hits, measures, step), [row[at] for at in steps])
