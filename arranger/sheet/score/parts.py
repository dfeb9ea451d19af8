"""The parts of a score: voice 1, voice 2 and the drums, each as bars of named notes."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from arranger.rows import tone_spans
from arranger.sheet.score.bars import Sounding, write_hits, write_tones
from arranger.sheet.score.clefs import choose_clefs
from arranger.sheet.score.drums import strokes_of
from arranger.sheet.score.key import Key, find_key
from arranger.sheet.score.spelling import spell
from arranger.sheet.sounds import sounds_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from fractions import Fraction

    from arranger.engine.model import Engine
    from arranger.sheet.model import Sheet
    from arranger.sheet.score.bars import ScoreBar
    from arranger.sheet.score.clefs import Clef
    from arranger.sheet.score.drums import Stroke
    from arranger.sheet.score.measures import Measure
    from arranger.sheet.score.spelling import Name, Span


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


class DrumPart(NamedTuple):
    """The drums."""

    upper: DrumVoice
    lower: DrumVoice


def key_of(sheet: Sheet) -> Key:
    """Return the key of a sheet: that of its tones."""
    steps = [0.0] * 12
    for row in (sheet.voice1, sheet.voice2):
        for start, end, pitch in tone_spans(row):
            steps[pitch % 12] += end - start
    return find_key(steps)


def voice_parts(sheet: Sheet, measures: Sequence[Measure], key: Key) -> list[VoicePart]:
    """Return both voices."""
    lines = [list(tone_spans(row)) for row in (sheet.voice1, sheet.voice2)]
    return [
        _voice_part(line, other, sheet.step_beats, measures, key)
        for line, other in (lines, lines[::-1])
    ]


def _voice_part(
    spans: list[Span], other: list[Span], step: Fraction, measures: Sequence[Measure], key: Key
) -> VoicePart:
    names = spell(spans, other, key, int(_AROUND / step))
    tones = [Sounding(start, end, index) for index, (start, end, _) in enumerate(spans)]
    bars = write_tones(tones, measures, step)
    clefs = choose_clefs(
        [[names[v.what] for v in bar.values if v.what is not None] for bar in bars]
    )
    return VoicePart(bars, names, clefs)


def drum_part(sheet: Sheet, engine: Engine, measures: Sequence[Measure]) -> DrumPart | None:
    """Return the drums; None where nothing is struck."""
    sounds = sounds_of(sheet, engine)
    strokes = {name: strokes_of(name, sounds) for name in {*sheet.drums} if name is not None}
    row = [strokes[name] if name else ((), ()) for name in sheet.drums]
    upper, lower = ([each[voice] for each in row] for voice in (0, 1))
    if not any(upper) and not any(lower):
        return None
    step = sheet.step_beats
    return DrumPart(_drum_voice(upper, measures, step), _drum_voice(lower, measures, step))


def _drum_voice(
    row: Sequence[tuple[Stroke, ...]], measures: Sequence[Measure], step: Fraction
) -> DrumVoice:
    """Return one of the voices of what is struck on each step."""
    steps = [at for at, strokes in enumerate(row) if strokes]
    hits = [Sounding(at, at + 1, index) for index, at in enumerate(steps)]
    return DrumVoice(write_hits(hits, measures, step), [row[at] for at in steps])
