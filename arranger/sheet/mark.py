"""The mark: what a MIDI file of a sheet says about the sheet, so that it can become one again.

Text events at the start of the file (Standard MIDI File 1.0, meta event 01) hold

    arranger-sheet 1 title=Low%20tide engine=twin-phase step=1/4 tempo=120.5 loop=16
    arranger-sheet 1 drums=kick:36,snare:38
    arranger-sheet 1 sounds=clank%3A%20noise%20354%20for%2020%20ms
    arranger-sheet 1 bars=0:4/4:4,1*12:4/4:16
    arranger-sheet 1 as=5*4:1
    arranger-sheet 1 sections=1:A,9:B

Values are percent-encoded. ``tempo``, ``length`` or both are as in the header. ``drums`` gives the
percussion key of each sound; a joint sound has none, since it is written as those that it joins
(`joint_sounds`). ``sounds`` gives those that the sheet defines, as its header does. ``bars`` gives
runs of bars: the first one's number, how many count on from it, metre, steps of each. ``as`` gives
runs of bars that are as others, ``sections`` the bars at which sections begin, both by the bars'
places in the list, from 0. Keys that stand in several events go on; unknown keys are passed over.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING
from urllib.parse import quote, unquote

from arranger.sheet.form.header_values import (
    MOST_SOUNDS,
    UnknownWord,
    read_length,
    read_sound,
    read_tempo,
)
from arranger.sheet.form.text import is_section_name, plain_number, sound_text
from arranger.sheet.model import SheetBar, bar_runs

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from arranger.engine.model import DrumSound
    from arranger.sheet.model import Sheet, SheetSound
    from arranger.song.model import Song

MARK = "arranger-sheet 1 "
_WORDS_A_LINE = 24
_STEP = re.compile(r"(\d{1,6})/(\d{1,6})", re.ASCII)
_RUN = re.compile(r"(-?\d{1,9})(?:\*(\d{1,6}))?:(\d{1,4})/(\d{1,4}):(\d{1,6})", re.ASCII)
_AS_RUN = re.compile(r"(\d{1,6})(?:\*(\d{1,6}))?:(\d{1,6})", re.ASCII)
_DRUM = re.compile(r"([a-z][a-z0-9-]*):(\d{1,3})", re.ASCII)
_NUMBER = re.compile(r"\d{1,9}", re.ASCII)
_MAX_BARS = 250_000


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetMark:
    """What a MIDI file says about the sheet it was made from."""

    title: str
    engine: str
    step_beats: Fraction
    tempo: float | None
    length: int | None
    loop_step: int | None
    drums: Mapping[int, str]
    """Percussion key to drum sound."""
    sounds: tuple[SheetSound, ...]
    bars: tuple[SheetBar, ...]

    @property
    def steps(self) -> int:
        """How many steps the sheet has."""
        return sum(bar.steps for bar in self.bars)


def mark_lines(sheet: Sheet, keys: Mapping[str, int]) -> list[str]:
    """Return the texts that mark a MIDI file as made from a sheet.

    ``keys``: the percussion key of each drum sound.
    """
    step = sheet.step_beats
    words = [
        f"title={_quote(sheet.title)}",
        f"engine={_quote(sheet.engine)}",
        f"step={step.numerator}/{step.denominator}",
    ]
    if sheet.tempo is not None:
        words.append(f"tempo={plain_number(sheet.tempo)}")
    if sheet.length is not None:
        words.append(f"length={sheet.length}")
    if sheet.loop_step is not None:
        words.append(f"loop={sheet.loop_step}")
    lines = [" ".join(words)]
    if keys:
        lines.append("drums=" + ",".join(f"{name}:{key}" for name, key in keys.items()))
    lines.extend(f"sounds={_quote(sound_text(sound))}" for sound in sheet.sounds)
    lines.extend(_listed("bars", [*_runs(sheet.bars)]))
    lines.extend(_listed("as", [*_as_runs(sheet.bars)]))
    named = [f"{at}:{_quote(bar.section)}" for at, bar in enumerate(sheet.bars) if bar.section]
    lines.extend(_listed("sections", named))
    return [MARK + line for line in lines]


def _listed(key: str, words: Sequence[str]) -> Iterator[str]:
    for at in range(0, len(words), _WORDS_A_LINE):
        yield f"{key}=" + ",".join(words[at : at + _WORDS_A_LINE])


def find_mark(song: Song) -> SheetMark | None:
    """Return the mark of a song that was made from a sheet; None without one or if it is damaged."""
    values: dict[str, str] = {}
    for mark in song.marks:
        if mark.kind == "text" and mark.text.startswith(MARK):
            for word in mark.text[len(MARK) :].split():
                key, _, value = word.partition("=")
                values[key] = f"{values[key]},{value}" if key in values else value
    step = _STEP.fullmatch(values.get("step", ""))
    loop = values.get("loop")
    bars = _read_bars(values.get("bars", ""))
    drums = [_DRUM.fullmatch(word) for word in values.get("drums", "").split(",") if word]
    if step is None or not int(step[1]) or not int(step[2]):
        return None
    if not bars or None in drums:
        return None
    if loop is not None and (
        not _NUMBER.fullmatch(loop) or int(loop) >= sum(bar.steps for bar in bars)
    ):
        return None
    try:
        tempo = read_tempo(values["tempo"]) if "tempo" in values else None
        length = read_length(values["length"]) if "length" in values else None
        title, engine = (
            unquote(values.get(key, ""), errors="surrogatepass") for key in ("title", "engine")
        )
        defined = values["sounds"].split(",") if "sounds" in values else []
        sounds = tuple([read_sound(unquote(word)) for word in defined])
    except (UnicodeDecodeError, UnknownWord):
        return None
    if tempo is None and length is None:
        return None
    if len({sound.name for sound in sounds}) != len(sounds) or len(sounds) > MOST_SOUNDS:
        return None
    return SheetMark(
        title=title,
        engine=engine,
        step_beats=Fraction(int(step[1]), int(step[2])),
        tempo=tempo,
        length=length,
        loop_step=None if loop is None else int(loop),
        drums={int(match[2]): match[1] for match in drums if match is not None},
        sounds=sounds,
        bars=_read_sections(_read_as_runs(bars, values.get("as", "")), values.get("sections", "")),
    )


def joint_sounds(sounds: Iterable[DrumSound]) -> dict[frozenset[str], str]:
    """Return the sound that says several at once by what it says; the first where there are more."""
    return {frozenset(sound.joins): sound.name for sound in reversed([*sounds]) if sound.joins}


def _quote(text: str) -> str:
    return quote(text, safe="", errors="surrogatepass")


def _runs(bars: Sequence[SheetBar]) -> Iterator[str]:
    for bar, count in bar_runs(bars):
        times = f"*{count}" if count > 1 else ""
        yield f"{bar.number}{times}:{bar.numerator}/{bar.denominator}:{bar.steps}"


def _read_bars(text: str) -> tuple[SheetBar, ...]:
    """Return the bars of a list of runs; nothing if it is damaged."""
    found: list[SheetBar] = []
    for word in text.split(",") if text else ():
        match = _RUN.fullmatch(word)
        if match is None:
            return ()
        number, count = int(match[1]), int(match[2] or 1)
        numerator, denominator, steps = int(match[3]), int(match[4]), int(match[5])
        if min(numerator, denominator, steps) < 1 or len(found) + count > _MAX_BARS:
            return ()
        found.extend(SheetBar(number + n, steps, numerator, denominator) for n in range(count))
    return tuple(found)


def _as_runs(bars: Sequence[SheetBar]) -> Iterator[str]:
    at = 0
    while at < len(bars):
        first = bars[at].as_bar
        count = 1
        if first is not None:
            while at + count < len(bars) and bars[at + count].as_bar == first + count:
                count += 1
            yield f"{at}*{count}:{first}" if count > 1 else f"{at}:{first}"
        at += count


def _read_as_runs(bars: tuple[SheetBar, ...], text: str) -> tuple[SheetBar, ...]:
    """Return the bars with what a list of runs says they are as; what can't be is passed over."""
    found = list(bars)
    for match in map(_AS_RUN.fullmatch, text.split(",")):
        if match is None:
            continue
        place, count, other = int(match[1]), int(match[2] or 1), int(match[3])
        for at in range(place, min(place + count, len(found))):
            if other + at - place < at:
                found[at] = found[at]._replace(as_bar=other + at - place)
    return tuple(found)


def _read_sections(bars: tuple[SheetBar, ...], text: str) -> tuple[SheetBar, ...]:
    """Return the bars with the sections of a list; what can't be one is passed over."""
    found = list(bars)
    for word in text.split(","):
        place, _, name = word.partition(":")
        name = unquote(name, errors="replace")
        if _NUMBER.fullmatch(place) and int(place) < len(found) and is_section_name(name):
            found[int(place)] = found[int(place)]._replace(section=name)
    return tuple(found)
