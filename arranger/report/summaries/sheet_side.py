"""The sheet's side of a report: what a sheet is and takes, whether a song is behind it or not.

What the JSON has is stated by ``sheet.schema.json``.
"""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import asdict, dataclass, replace
from itertools import pairwise
from textwrap import wrap
from typing import TYPE_CHECKING

from arranger.bars import minutes_text
from arranger.engine.tuning import LIMIT_CENTS
from arranger.errors import SheetError, one_line
from arranger.machine import song_bytes
from arranger.pitch import pitch_name
from arranger.rows import tone_spans
from arranger.sheet.form.fold_repeats import fold_repeats, unfold
from arranger.sheet.form.text import plain_number
from arranger.sheet.played import played_bpm, played_steps, step_length
from arranger.sheet.record.digest import bar_contents

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from arranger.engine.model import Engine
    from arranger.rows import Row
    from arranger.sheet.model import Sheet

FORMAT = "arranger-sheet-report"
VERSION = 1

_LABEL = 10
_TOGETHER = "\xa0"
"""A blank at which no line is broken."""
_TUNINGS_SHOWN = 5


@dataclass(frozen=True, slots=True)
class Voice:
    """What a voice plays; drums are not looked at."""

    tones: int
    lowest: str | None
    highest: str | None
    steps: int
    """On how many it sounds."""


@dataclass(frozen=True, slots=True)
class Tuned:
    """A pitch that is played."""

    name: str
    midi: int
    cents: float
    """By how much the engine misses it; above it: more than 0."""
    tones: int


@dataclass(frozen=True, slots=True)
class Repeat:
    """A run of bars that play the same as an earlier one of equal length. Numbers of bars."""

    first: int
    last: int
    as_first: int
    as_last: int


@dataclass(frozen=True, slots=True)
class SheetSection:
    """Bars from one section mark to the next. Numbers of bars."""

    name: str
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class LoopPoint:
    """Where the piece goes on after its end."""

    bar: int
    step: int
    """Of the bar, from 1."""
    seconds: float
    """How long a further round is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetSide:
    """What a sheet is, for people and scripts."""

    title: str
    engine: str
    bars: int
    steps: int
    seconds: float
    """Once through, without going round."""
    step_beats: str
    step_seconds: float
    asked_bpm: float | None
    """What the header asks for; None where it has a length, or no tempo."""
    played_bpm: float
    length: int | None
    """The step length that the header names exactly."""
    metres: dict[str, int]
    """How many bars have each metre, the most frequent first."""
    sections: tuple[SheetSection, ...]
    loop: LoopPoint | None
    voice1: Voice
    voice2: Voice
    tuning: tuple[Tuned, ...]
    """All pitches that are played, the worst in tune first."""
    drums: dict[str, int]
    """How often each sound is hit, the most frequent first."""
    player_bytes: int
    song_bytes: int | None
    """None: so much that it can't be numbered."""
    memory_bytes: int
    """What both may take together."""
    fits: bool
    different_bars: int
    repeats: tuple[Repeat, ...]


def sheet_side(sheet: Sheet, engine: Engine) -> SheetSide:
    """Return what there is to say about a sheet.

    Raises `SheetError` if the engine can't play it.
    """
    played_steps(sheet, engine)
    length = step_length(sheet, engine)
    size = _size(sheet, engine)
    spans = [*tone_spans(sheet.voice1), *tone_spans(sheet.voice2)]
    return SheetSide(
        title=sheet.title,
        engine=engine.name,
        bars=len(sheet.bars),
        steps=sheet.steps,
        seconds=sheet.steps * length.seconds,
        step_beats=str(sheet.step_beats),
        step_seconds=length.seconds,
        asked_bpm=sheet.tempo if sheet.length is None else None,
        played_bpm=played_bpm(sheet.step_beats, length),
        length=sheet.length,
        metres=dict(
            Counter(f"{bar.numerator}/{bar.denominator}" for bar in sheet.bars).most_common()
        ),
        sections=tuple(_sections(sheet)),
        loop=_loop(sheet, length.seconds),
        voice1=_voice(sheet.voice1),
        voice2=_voice(sheet.voice2),
        tuning=_tuning([pitch for _, _, pitch in spans], engine),
        drums=dict(Counter(hit for hit in sheet.drums if hit).most_common()),
        player_bytes=engine.code_bytes,
        song_bytes=size,
        memory_bytes=engine.memory_bytes,
        fits=size is not None and engine.code_bytes + size <= engine.memory_bytes,
        different_bars=len(set(bar_contents(sheet))),
        repeats=tuple(_repeats(sheet)),
    )


def side_json(side: SheetSide) -> str:
    """Return it as JSON."""
    return json.dumps(
        {"format": FORMAT, "version": VERSION, **asdict(side)}, ensure_ascii=False, indent=1
    )


def side_lines(side: SheetSide, width: int = 80) -> Iterator[str]:
    """Yield it as lines of text."""
    yield one_line(side.title or "(no title)")
    for label, text in _told(side):
        indent = " " * (_LABEL + 2)
        head = f"  {label:<{_LABEL}}"
        for line in wrap(
            text, width, initial_indent=head, subsequent_indent=indent, break_on_hyphens=False
        ):
            yield line.replace(_TOGETHER, " ")


def _told(side: SheetSide) -> Iterator[tuple[str, str]]:
    yield from (
        ("engine", side.engine),
        ("length", _length_text(side)),
        ("tempo", _tempo_text(side)),
        ("metre", _metres_text(side)),
    )
    if side.sections:
        runs = (f"{each.name} {_bars_text(each.first, each.last)}" for each in side.sections)
        yield "sections", ", ".join(runs)
    yield from (
        ("loop", _loop_text(side)),
        ("voice 1", _voice_text(side.voice1, side.steps)),
        ("voice 2", _voice_text(side.voice2, side.steps)),
        ("tuning", _tuning_text(side)),
        (
            "drums",
            ", ".join(f"{name}{_TOGETHER}{count}" for name, count in side.drums.items()) or "none",
        ),
        ("memory", _memory_text(side)),
        ("repeats", _repeats_text(side)),
    )


def _size(sheet: Sheet, engine: Engine) -> int | None:
    try:
        return song_bytes(sheet, engine)
    except SheetError:
        return None  # what can be played may still be too much to be numbered


def _loop(sheet: Sheet, step_seconds: float) -> LoopPoint | None:
    for bar, inside in zip(sheet.bars, sheet.bar_loops, strict=True):
        if inside is not None and sheet.loop_step is not None:
            seconds = (sheet.steps - sheet.loop_step) * step_seconds
            return LoopPoint(bar.number, inside + 1, seconds)
    return None


def _sections(sheet: Sheet) -> Iterator[SheetSection]:
    begins = [index for index, bar in enumerate(sheet.bars) if bar.section]
    for first, after in pairwise([*begins, len(sheet.bars)]):
        bar = sheet.bars[first]
        yield SheetSection(bar.section, bar.number, sheet.bars[after - 1].number)


def _voice(row: Row) -> Voice:
    spans = list(tone_spans(row))
    pitches = [pitch for _, _, pitch in spans]
    return Voice(
        len(spans),
        pitch_name(min(pitches)) if pitches else None,
        pitch_name(max(pitches)) if pitches else None,
        sum(end - start for start, end, _ in spans),
    )


def _tuning(pitches: Sequence[int], engine: Engine) -> tuple[Tuned, ...]:
    found = [
        Tuned(pitch_name(pitch), pitch, round(engine.pitches[pitch].cents, 2), count)
        for pitch, count in Counter(pitches).items()
    ]
    return tuple(sorted(found, key=lambda entry: (-abs(entry.cents), entry.midi)))


def _repeats(sheet: Sheet) -> Iterator[Repeat]:
    """Yield the runs of bars that folding would write as earlier ones."""
    bars = fold_repeats(unfold(replace(sheet, comments=()))).bars
    runs: list[list[int]] = []
    for index, bar in enumerate(bars):
        if bar.as_bar is None:
            continue
        goes_on = runs and runs[-1][-1] == index - 1 and bars[index - 1].as_bar == bar.as_bar - 1
        if goes_on and bar.as_bar < runs[-1][0]:
            runs[-1].append(index)
        else:
            runs.append([index])
    for first, *more in runs:
        last = more[-1] if more else first
        others = (bars[bars[index].as_bar or 0].number for index in (first, last))
        yield Repeat(bars[first].number, bars[last].number, *others)


def _length_text(side: SheetSide) -> str:
    return (
        f"{minutes_text(side.seconds)}, {_counted(side.bars, 'bar')}, "
        f"{_counted(side.steps, 'step')} of {side.step_beats} beat "
        f"({1000 * side.step_seconds:.1f} ms)"
    )


def _tempo_text(side: SheetSide) -> str:
    if side.asked_bpm is None:
        return f"{side.played_bpm:.2f}, by length {side.length}"
    return f"{plain_number(side.asked_bpm)} asked, {side.played_bpm:.2f} played"


def _metres_text(side: SheetSide) -> str:
    if len(side.metres) == 1:
        return next(iter(side.metres))
    return ", ".join(f"{metre} in {_counted(count, 'bar')}" for metre, count in side.metres.items())


def _loop_text(side: SheetSide) -> str:
    if side.loop is None:
        return "none: the piece ends"
    where = f"bar {side.loop.bar}" + (f", step {side.loop.step}" if side.loop.step > 1 else "")
    return f"back to {where}: {minutes_text(side.loop.seconds)} a round"


def _voice_text(voice: Voice, steps: int) -> str:
    if not voice.tones:
        return "silent"
    share = f"{100 * voice.steps / steps:.0f} % of the steps"
    top = "" if voice.highest == voice.lowest else f" to {voice.highest}"
    return f"{voice.lowest}{top}, {_counted(voice.tones, 'tone')} on {share}"


def _tuning_text(side: SheetSide) -> str:
    sour = [entry for entry in side.tuning if abs(entry.cents) > LIMIT_CENTS]
    if not side.tuning:
        return "nothing is played"
    told = [
        f"{entry.name} {entry.cents:+.1f} cents ({entry.tones}x)" for entry in sour[:_TUNINGS_SHOWN]
    ]
    more = len(sour) - len(told)
    if more:
        told.append(f"{more} more by over {LIMIT_CENTS:g} cents")
    if len(sour) < len(side.tuning):
        rest = side.tuning[len(sour)]
        which = "the others within" if sour else f"all {len(side.tuning)} pitches within"
        told.append(f"{which} {abs(rest.cents):.1f} cents")
    return ", ".join(each.replace(" ", _TOGETHER) for each in told)


def _memory_text(side: SheetSide) -> str:
    if side.song_bytes is None:
        return f"the song doesn't fit: more than {side.memory_bytes:,} bytes"
    left = side.memory_bytes - side.player_bytes - side.song_bytes
    return (
        f"{side.player_bytes:,} bytes of player and {side.song_bytes:,} of song: "
        + (f"{left:,} of {side.memory_bytes:,} are free" if side.fits else "")
        + ("" if side.fits else f"{-left:,} more than the {side.memory_bytes:,} that there are")
    )


def _repeats_text(side: SheetSide) -> str:
    told = [
        f"{_bars_text(each.first, each.last)} as {_bars_text(each.as_first, each.as_last)}"
        for each in side.repeats
    ]
    told = [each.replace(" ", _TOGETHER) for each in told]
    return "; ".join((_counted(side.different_bars, "different bar"), *told))


def _bars_text(first: int, last: int) -> str:
    return str(first) if first == last else f"{first}-{last}"


def _counted(count: int, what: str) -> str:
    return f"{count:,} {what}" + ("" if count == 1 else "s")
