"""The bars to mend first, and what each lacks, in a musician's words.

A bar is a problem where a note of the tune or the bass isn't heard well, a tone of a chord isn't heard
on a beat, or a drum is missing. `ranking` has them by their loss (`arranger.report.heard.losses`); bars that lack
just the same stand together.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.bars import bars_named
from arranger.columns import begins, ranges
from arranger.errors import one_line, shortened
from arranger.pitch import pitch_name
from arranger.report.account_columns import account_of
from arranger.report.heard.hearing import (
    BASS,
    DRUMS,
    HARMONY,
    LINES,
    NO_LINE,
    TUNE,
    Beats,
    asked_lines,
    beats_of,
    first_and_last_beat,
    late_seconds,
    sounding,
    start_heard,
)
from arranger.report.heard.losses import BarLoss, bar_losses, heard_of
from arranger.report.remember import remembered
from arranger.song.general_midi import percussion_name

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from arranger.columns import Floats, Ints
    from arranger.conversion import Conversion


MOST_LOOKED_AT = 250
"""Bars that get a sentence, those with the greatest loss."""
WELL = 95
"""A note of a line of which so much is heard, of 100, is no problem."""
_MOST_NOTES = 3
_MOST_BEATS = 4
_MOST_TONES = 2
_OF_CHORDS = frozenset({"root", "third", "fifth", "seventh"})
_PLAIN_NAME = re.compile(r"[a-z][a-z -]{1,23}[a-z]")
_PLAIN_KEYS = re.compile(r" [0-9]$")


class BarsToMend(NamedTuple):
    """Bars to mend that lack the same, and what."""

    bars: tuple[BarLoss, ...]
    sentence: str
    lines: tuple[int, ...]
    """Indices into `LINES` of what is lacking, the greatest loss first."""

    @property
    def named(self) -> str:
        """The bars as people say them."""
        return bars_named([bar.name for bar in self.bars])


class _Chords(NamedTuple):
    """What the pitched notes of a bar, and those held from the one before, make on each beat."""

    there: Sequence[bool]
    """Of each beat whether the harmony has a note there."""
    classes: Sequence[int]
    """Of each beat the pitch classes that are asked for, a bit each."""
    lowest: Sequence[int]
    """Of each beat the lowest pitch that is."""
    tone: Sequence[int]
    """Pitch classes of the harmony that aren't heard on a beat, in order of beats and classes."""
    part: Sequence[int]
    """The part that has each of them loudest."""
    first: Sequence[int]
    """Where those of each beat begin, and where the last end."""
    beat: Sequence[int]
    """The first beat of each bar, and how many beats there are."""


class _Scene(NamedTuple):
    """What sentences are made from, for all bars of a conversion."""

    conversion: Conversion
    line: Ints
    heard: Ints
    late: Floats
    """Shape (notes,): seconds."""
    bar: Ints
    """Shape (notes,): index into ``Grid.bars``, -1 outside."""
    beats: Beats
    chords: _Chords
    order: Ints
    """Ids of the notes with a line, by their bar."""
    begins: Ints
    """Where each bar begins in that order; shape (bars + 1,)."""

    def notes(self, place: int) -> Ints:
        """Return the ids of the notes that start in a bar."""
        return self.order[self.begins[place] : self.begins[place + 1]]


@remembered
def ranking(conversion: Conversion) -> tuple[BarsToMend, ...]:
    """Return the bars to mend, the greatest loss first."""
    losing = [bar for bar in bar_losses(conversion) if bar.loss]
    losing.sort(key=lambda bar: (-bar.loss, bar.place))
    if not losing:
        return ()
    scene = _scene(conversion)
    told: dict[str, tuple[list[BarLoss], tuple[int, ...]]] = {}
    for bar in losing[:MOST_LOOKED_AT]:
        clauses = list(_clauses(scene, bar))
        if clauses:
            sentence = "; ".join(clause for _, clause in clauses)
            told.setdefault(sentence, ([], tuple(line for line, _ in clauses)))[0].append(bar)
    return tuple(
        BarsToMend(tuple(sorted(bars)), sentence, lines) for sentence, (bars, lines) in told.items()
    )


def _scene(conversion: Conversion) -> _Scene:
    line, bar = asked_lines(conversion).line, account_of(conversion).bar_index
    beats = beats_of(conversion.grid)
    ids = np.flatnonzero((line != NO_LINE) & (bar >= 0))
    order = ids[np.argsort(bar[ids], kind="stable")]
    begins = np.searchsorted(bar[order], np.arange(len(conversion.grid.bars) + 1))
    chords = _chords(conversion, beats, order[line[order] != DRUMS])
    heard, late = heard_of(conversion), late_seconds(conversion.reduction, conversion.grid)
    return _Scene(conversion, line, heard, late, bar, beats, chords, order, begins)


def _chords(conversion: Conversion, beats: Beats, notes: Ints) -> _Chords:
    """Return the chords of pitched notes, which are in order of their bar."""
    columns, line = conversion.song.columns, asked_lines(conversion).line
    first, last = first_and_last_beat(conversion.song, conversion.grid, beats, line)
    bar, count = account_of(conversion).bar_index[notes], len(beats.bar)
    until = np.searchsorted(beats.bar, bar + 1, side="right")  # of the bar after
    lasts = np.maximum(np.minimum(last[notes] + 1, until) - first[notes], 0)
    note = np.repeat(notes, lasts)
    beat = first[note] + ranges(lasts)
    pitch = columns.pitch[note]
    classes, lowest = np.zeros(count, np.int64), np.full(count, pitch.max(initial=0))
    np.bitwise_or.at(classes, beat, 1 << pitch % 12)
    np.minimum.at(lowest, beat, pitch)
    chord = line[note] == HARMONY
    there = np.zeros(count, dtype=np.bool_)
    there[beat[chord]] = True
    heard = sounding(conversion.engine, conversion.reduction, beats)
    lacking = np.flatnonzero(chord & ~heard[pitch % 12, beat])
    tone, beat, note = pitch[lacking] % 12, beat[lacking], note[lacking]
    loudest = np.lexsort((-columns.loudness[note], 12 * beat + tone))
    key = (12 * beat + tone)[loudest]
    loudest = loudest[begins(key)]
    starts = np.searchsorted(beat[loudest], np.arange(count + 1))
    bars = np.searchsorted(beats.bar, np.arange(len(conversion.grid.bars) + 1))
    part = columns.part[note[loudest]]
    found = (there, classes, lowest, tone[loudest], part, starts, bars)
    return _Chords(*(column.tolist() for column in found))


def _clauses(scene: _Scene, bar: BarLoss) -> Iterator[tuple[int, str]]:
    """Yield what each line lacks in a bar, the greatest loss first."""
    told = 0
    for line in sorted(range(len(LINES)), key=lambda line: -bar.losses[line]):
        if not bar.losses[line]:
            return
        if line in (TUNE, BASS):
            clause = _of_line(scene, line, bar.place)
        elif line == HARMONY:
            clause = _of_harmony(scene, bar.place, 1 if told else _MOST_TONES)
        else:
            clause = _of_drums(scene, bar.place)
        if clause:
            told += 1
            yield line, clause


def _of_line(scene: _Scene, line: int, place: int) -> str:
    """Return what the tune or the bass lacks, by note and beat."""
    notes = scene.notes(place)
    notes = notes[scene.line[notes] == line]
    poor = notes[scene.heard[notes] < WELL]
    fates: dict[str, list[int]] = {}
    for note in poor.tolist():
        fates.setdefault(_fate(scene, note), []).append(note)
    told = [
        _notes_told(scene, LINES[line], fate, of_fate, len(notes))
        for fate, of_fate in fates.items()
    ]
    return " and ".join(told[:2])


_FATES = {
    "missing": ("is missing", "are missing"),
    "not struck": ("isn't struck anew", "aren't struck anew"),
    "late": ("starts late", "start late"),
    "early": ("starts early", "start early"),
    "short": ("is cut short", "are cut short"),
    "octave": ("sounds in another octave", "sound in another octave"),
    "by turns": ("is heard by turns only", "are heard by turns only"),
}


def _fate(scene: _Scene, note: int) -> str:
    columns = scene.conversion.reduction.ledger.columns
    reasons = columns.reasons[note]
    if columns.outcome[note] == "dropped":
        return "missing"
    if "repeat-tied" in reasons:
        return "not struck"
    if start_heard(scene.late[note]) < WELL / 100:
        return "late" if scene.late[note] > 0 else "early"
    if "broken-chord" in reasons:
        return "by turns"
    return "short" if "octave-folded" not in reasons else "octave"


def _notes_told(scene: _Scene, line: str, fate: str, notes: Sequence[int], of: int) -> str:
    found, columns = account_of(scene.conversion), scene.conversion.song.columns
    beats = [_number(found.beat[note]) for note in notes]
    one, more = _FATES[fate]
    if len(notes) == of > _MOST_NOTES:
        return f"the {line}'s {of} notes {more}"
    if len(notes) > _MOST_NOTES:
        return f"{len(notes)} of the {line}'s {of} notes {more}, the first on beat {beats[0]}"
    names = [pitch_name(int(columns.pitch[note])) for note in notes]
    if len(set(names)) == 1:
        on = f"{_listed(names[:1])} on {_beats(beats)}"
    else:
        on = _listed([f"{name} on beat {beat}" for name, beat in zip(names, beats, strict=True)])
    return f"the {line}'s {on} {one if len(notes) == 1 else more}"


def _of_harmony(scene: _Scene, place: int, most: int) -> str:
    """Return which tones of the chords aren't heard, on which beats."""
    chords = scene.chords
    beats = range(*chords.beat[place : place + 2])
    lacking: dict[tuple[str, int], list[int]] = {}
    for beat in beats:
        lost = range(*chords.first[beat : beat + 2])
        if not lost:
            continue
        sounding = frozenset(tone for tone in range(12) if chords.classes[beat] >> tone & 1)
        root = root_of(sounding, chords.lowest[beat] % 12)
        for at in lost:
            tone, part = chords.tone[at], chords.part[at]
            on = lacking.setdefault((degree(tone, root) or f"={tone}", part), [])
            if on[-1:] != [beat]:  # of two thirds one is told
                on.append(beat)
    there = sum(chords.there[beats.start : beats.stop])
    return _tones_told(scene, lacking, there, most) if lacking else ""


def _tones_told(
    scene: _Scene, lacking: dict[tuple[str, int], list[int]], chords: int, most: int
) -> str:
    """Return so many groups of tones by part and beats; `chords` is the number of beats with one."""
    groups: dict[tuple[int, tuple[int, ...]], list[str]] = {}
    for (tone, part), beats in lacking.items():
        groups.setdefault((part, tuple(beats)), []).append(tone)
    # What makes a chord first, on the most beats.
    found = sorted(
        groups.items(),
        key=lambda each: -len(each[0][1]) * sum(1 + 2 * (tone in _OF_CHORDS) for tone in each[1]),
    )
    told = [_tone_told(scene, tones, part, beats, chords) for (part, beats), tones in found[:most]]
    count = sum(len(tones) for _, tones in found)
    more = sum(len(tones) for _, tones in found[most:])
    if more:
        told.append(f"{more} more tone{'s' if more > 1 else ''} of the chords")
    return f"{_listed(told)} {'are' if count > 1 else 'is'} missing"


def _tone_told(
    scene: _Scene, tones: Sequence[str], part: int, beats: Sequence[int], of: int
) -> str:
    name = one_line(scene.conversion.song.parts[part].name).strip()
    what = _listed([pitch_name(int(t[1:]) + 12)[:-1] if t[0] == "=" else t for t in tones])
    plain = name.lower()
    if _PLAIN_NAME.fullmatch(plain):
        whose = f"the {plain}'{'' if plain.endswith('s') else 's'} {what}"
    else:
        whose = f"the {what} of '{shortened(name)}'" if name else f"the chord's {what}"
    if len(beats) == of:
        return whose
    return f"{whose} on {_beats([_number(float(scene.beats.number[beat])) for beat in beats])}"


def _of_drums(scene: _Scene, place: int) -> str:
    """Return which drums aren't heard."""
    notes = scene.notes(place)
    notes = notes[scene.line[notes] == DRUMS]
    gone = notes[scene.heard[notes] == 0]
    if not len(gone):
        return ""
    found, columns = account_of(scene.conversion), scene.conversion.song.columns
    if len(gone) == len(notes) > 1:
        return "the drums are missing"
    by_name: dict[str, list[str]] = {}
    for note in gone.tolist():
        name = percussion_name(int(columns.pitch[note])).lower()
        by_name.setdefault(_PLAIN_KEYS.sub("", name), []).append(_number(found.beat[note]))
    if len(by_name) > _MOST_TONES:
        return f"{len(gone)} of {len(notes)} drum hits are missing"
    told = [
        f"the {name} ({len(on)} times)" if len(on) > _MOST_BEATS else f"the {name} on {_beats(on)}"
        for name, on in ((name, [*dict.fromkeys(on)]) for name, on in by_name.items())
    ]
    return f"{_listed(told)} {'is' if len(told) == 1 else 'are'} missing"


def _number(beat: float) -> str:
    return f"{round(beat, 2):g}"


def _beats(beats: Sequence[str]) -> str:
    if len(beats) > _MOST_BEATS:
        return f"{len(beats)} beats"
    return f"beat{'s' if len(beats) > 1 else ''} {_listed(beats)}"


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


DEGREES = {
    0: "root",
    1: "ninth",
    2: "ninth",
    3: "third",
    4: "third",
    5: "fourth",
    6: "fifth",
    7: "fifth",
    8: "fifth",
    9: "sixth",
    10: "seventh",
    11: "seventh",
}
"""By semitones above the root; common practice, no source."""


_TRIADS = ({4, 7}, {3, 7}, {3, 6}, {4, 8})
"""Major, minor, diminished, augmented: third and fifth above the root."""


@lru_cache(maxsize=4096)
def root_of(classes: frozenset[int], bass: int | None) -> int | None:
    """Return the root of a chord, or None where no triad is in it.

    Of several roots that of the lowest tone is taken, else that with a seventh or the most usual fifth.

    Parameters
    ----------
    classes
        Pitch classes, 0 to 11.
    bass
        The class of the lowest tone, if there is one.

    >>> root_of(frozenset({0, 4, 7}), 0), root_of(frozenset({9, 0, 4, 7}), 9)
    (0, 9)
    >>> root_of(frozenset({0, 4, 7}), 4), root_of(frozenset({0, 2}), 0)
    (0, None)
    """
    best: tuple[tuple[bool, ...], int] | None = None
    for root in sorted(classes):
        above = {(each - root) % 12 for each in classes}
        if not any(triad <= above for triad in _TRIADS):
            continue
        worth = root == bass, 7 in above, bool(above & {10, 11})
        if best is None or worth > best[0]:
            best = worth, root
    return None if best is None else best[1]


def degree(pitch: int, root: int | None) -> str | None:
    """Return what a pitch is above a root, such as "third"; None without a root.

    >>> degree(64, 0), degree(60, None)
    ('third', None)
    """
    return None if root is None else DEGREES[(pitch - root) % 12]
