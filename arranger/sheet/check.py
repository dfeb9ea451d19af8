"""Checking a sheet against its engine: everything that can't be played, or perhaps isn't meant so.

Errors are what the engine can't play; warnings are what it plays otherwise than it reads:

tone-unheard     a tone all of whose steps are under drums (one that only starts late is fine)
hold-nothing     a hold with no tone before it: silence
no-attack        the same pitch again with no silence between: one long tone
tempo            the tempo in the header isn't what is played
bar-order        bar numbers that don't rise
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import Counter
from functools import cached_property, lru_cache
from itertools import islice
from typing import TYPE_CHECKING, NamedTuple

from arranger.engine.tuning import folded
from arranger.errors import ArrangerError, EngineError, SheetError
from arranger.pitch import pitch_name
from arranger.rows import HOLD, REST
from arranger.sheet.form.as_bars import roots
from arranger.sheet.form.meant import drum_remedy
from arranger.sheet.form.parse import scan
from arranger.sheet.form.problem import ERROR, MOST_PROBLEMS, WARNING, SheetProblem
from arranger.sheet.io import read_text
from arranger.sheet.played import MOST_OFF_TEMPO, off_tempo, own_length, played_bpm, step_length
from arranger.sheet.record.against import bar_names
from arranger.sheet.sounds import sound_fault

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from arranger.engine.model import Engine
    from arranger.sheet.form.parse import Scan
    from arranger.sheet.model import Sheet

    Size = Callable[[Sheet, Engine], int]

_TEMPO_SHARE = 0.005
"""A tempo beside a length may be off by this before it is called wrong."""

_DRUM_ROW = 3


class Checked(NamedTuple):
    """What offends, and how much was looked at."""

    problems: list[SheetProblem]
    """In the order of their lines."""
    bars: int
    steps: int
    lines: list[str]
    """The text, for showing the places."""

    @property
    def errors(self) -> int:
        """How many problems are errors."""
        return sum(problem.severity == ERROR for problem in self.problems)

    @property
    def warnings(self) -> int:
        """How many problems are warnings."""
        return len(self.problems) - self.errors

    def summary(self) -> str:
        """Return the counts in words: "2 errors, 1 warning in 32 bars (512 steps)"."""
        counts = [
            f"{count} {word}{'' if count == 1 else 's'}"
            for count, word in ((self.errors, ERROR), (self.warnings, WARNING))
            if count
        ]
        return f"{', '.join(counts) or 'no problem'} in {self.bars} bars ({self.steps} steps)"


def check_file(path: str | Path, size: Size | None = None) -> Checked:
    """Check a sheet file. An engine given by its file is looked for beside the sheet too.

    ``size`` as for `check_text`.

    Raises `SheetError` if the file can't be read as text.
    """
    from arranger.engine import load_engine

    return check_text(read_text(path), lambda name: load_engine(name, beside=path), size)


def check_text(
    text: str, load_engine: Callable[[str], Engine], size: Size | None = None
) -> Checked:
    """Check a sheet's text: its form, and against the engine that it names.

    ``load_engine``: returns the engine of a name as it stands in the header.
    ``size``: returns the bytes that a sheet takes (`arranger.machine.song_bytes`); None: whether it
    fits isn't checked.
    """
    return check_scan(scan(text), load_engine, size)


def check_scan(
    found: Scan, load_engine: Callable[[str], Engine], size: Size | None = None
) -> Checked:
    """Check a sheet's text that was read already; see `check_text`."""
    sheet = found.sheet
    problems = list(found.problems)
    problems += islice(_bar_order(found), MOST_PROBLEMS)
    if sheet.engine:
        try:
            engine = load_engine(sheet.engine)
        except ArrangerError as error:
            problems.append(_at_header(found, "engine", error.what, _remedy(error)))
        else:
            problems += check_playable(found, engine)
            # most that is checked has errors to mend first
            if size and all(problem.severity != ERROR for problem in problems):
                problems += _memory(found, engine, size)
    problems.sort(key=lambda problem: (problem.line, problem.column))
    problems = _without_followers(problems)
    return Checked(problems, len(sheet.bars), sheet.steps, found.lines)


def _without_followers(problems: Sequence[SheetProblem]) -> list[SheetProblem]:
    """Return sorted problems without holds of nothing where a cell that can't be read stands before."""
    left: list[SheetProblem] = []
    unread = 0
    for problem in problems:
        if problem.code == "unknown-pitch":
            unread = problem.line
        if problem.code != "hold-nothing" or problem.line != unread:
            left.append(problem)
    return left


def check_playable(found: Scan, engine: Engine) -> list[SheetProblem]:
    """Return what an engine can't play of a sheet, or plays otherwise than it reads."""
    sheet = found.sheet
    silencing = engine.silencing(sheet.drums)
    silenced = [drum in silencing for drum in sheet.drums]
    finder = _Finder(found)
    problems = [*_step_length(found, engine), *_sounds(found, engine)]
    for kind in (
        _drums(finder, engine),
        _pitches(finder, 1, sheet.voice1, engine),
        _pitches(finder, 2, sheet.voice2, engine),
        _tones(finder, 1, sheet.voice1, silenced, engine),
        _tones(finder, 2, sheet.voice2, silenced, engine),
    ):
        problems += islice(kind, MOST_PROBLEMS)
    return problems


class _Finder:
    """Turns steps of the sheet into places in its text; remembers the row that it looked at.

    A problem in a bar that is as another one stands where the rows are written. It is told there
    once; one that only comes of what stands before the bar is told at the bar's own line.
    """

    def __init__(self, found: Scan) -> None:
        self._found = found
        self.sheet = found.sheet
        self._starts = self.sheet.bar_starts
        self._roots = roots(self.sheet.bars)
        self._row_place = lru_cache(maxsize=1)(found.row_place)
        self._told: set[tuple[str, int, int]] = set()

    @cached_property
    def _names(self) -> list[str]:
        return bar_names(self.sheet)

    def problem(
        self, severity: str, code: str, row: int, step: int, what: str, remedy: str
    ) -> Iterator[SheetProblem]:
        """Yield a problem at a cell, unless it was told."""
        bar = bisect_right(self._starts, step) - 1
        root = self._roots[bar]
        at = step - self._starts[bar]
        written = (code, row, self._starts[root] + at)
        if written in self._told:
            return
        if root != bar:
            line = self._found.row_lines[bar][0]
            number, other = self._names[bar], self._names[root]
            what += f" (step {at + 1} of bar {number}, which is as bar {other})"
            yield SheetProblem(severity, code, line, 1, 3, what, remedy)
            return
        self._told.add(written)
        line, spans = self._row_place(bar, row)
        column, width = spans[at] if at < len(spans) else (1, 1)
        yield SheetProblem(severity, code, line, column, width, what, remedy)


def _pitches(
    finder: _Finder, row: int, cells: Sequence[int], engine: Engine
) -> Iterator[SheetProblem]:
    if not set(cells) - engine.pitches.keys() - {HOLD, REST}:
        return
    for step, cell in enumerate(cells):
        if cell >= 0 and cell not in engine.pitches:
            nearest = folded(engine, cell)
            if nearest is None:
                nearest = min(engine.pitches, key=lambda pitch: abs(pitch - cell))
            has = f"{pitch_name(engine.lowest)} to {pitch_name(engine.highest)}"
            what = (
                f"{pitch_name(cell)} is outside the pitch table of {engine.name}, which has {has}"
            )
            remedy = f"write {pitch_name(nearest)}"
            yield from finder.problem(ERROR, "outside-pitch-table", row, step, what, remedy)


def _tones(
    finder: _Finder, row: int, cells: Sequence[int], silenced: Sequence[bool], engine: Engine
) -> Iterator[SheetProblem]:
    """Yield holds of nothing, tones that no step lets through, and attacks that are lost."""
    held = start = -1
    hold_told = False
    for step, cell in enumerate((*cells, REST)):
        if cell == HOLD:
            if held < 0 and not hold_told:
                hold_told = True
                what = f"voice {row} holds a tone, but none sounds before"
                remedy = "write . for silence, or a pitch"
                yield from finder.problem(WARNING, "hold-nothing", row, step, what, remedy)
            continue
        hold_told = False
        if held >= 0 and all(silenced[start:step]):
            where = "its step" if step - start == 1 else "all its steps"
            what = f"{pitch_name(held)} is never heard: a drum silences both voices on {where}"
            remedy = "hold it longer, or move the drum"
            yield from finder.problem(WARNING, "tone-unheard", row, start, what, remedy)
        elif (
            held >= 0
            and held == cell
            and not silenced[step - 1]
            and finder.sheet.drums[step] is None
        ):
            what = f"{pitch_name(cell)} goes on from the step before, so its start isn't heard"
            gap = "" if engine.gap is None else f", or {engine.gap.name} in the drums"
            remedy = f"write . on the step before it, or - here{gap}"
            yield from finder.problem(WARNING, "no-attack", row, step, what, remedy)
        held, start = (cell, step) if cell >= 0 else (-1, step)


def _drums(finder: _Finder, engine: Engine) -> Iterator[SheetProblem]:
    names = [drum.name for drum in engine.drums] + [sound.name for sound in finder.sheet.sounds]
    strange = set(finder.sheet.drums) - {None, *names}
    if not strange:
        return
    hits = Counter(drum for drum in finder.sheet.drums if drum in names)
    usual = hits.most_common(1)[0][0] if hits else None
    remedies = {name: drum_remedy(name, names, usual) for name in strange if name}
    for step, drum in enumerate(finder.sheet.drums):
        if drum is not None and drum in strange:
            what = f"{engine.name} has no drum sound {drum!r}"
            yield from finder.problem(ERROR, "unknown-drum", _DRUM_ROW, step, what, remedies[drum])


def _sounds(found: Scan, engine: Engine) -> Iterator[SheetProblem]:
    """Yield what the engine can't play of the drum sounds that the sheet defines."""
    for sound, line in zip(found.sheet.sounds, found.sound_lines, strict=True):
        fault = sound_fault(sound, engine)
        if fault is not None:
            what = f"{engine.name} can't play {sound.name}: {fault.what}"
            place = found.header_place(line)
            yield SheetProblem(ERROR, "drum-unplayable", line, *place, what, fault.remedy)


def _step_length(found: Scan, engine: Engine) -> list[SheetProblem]:
    sheet = found.sheet
    if sheet.speed is None:
        return []
    if sheet.length is not None and own_length(sheet, engine) is None:
        what = f"{engine.name} has no step length {sheet.length}"
        return [_at_header(found, "length", what, _other_length(sheet, engine))]
    asked = sheet.tempo
    most = MOST_OFF_TEMPO if sheet.length is None else _TEMPO_SHARE
    if asked is None or off_tempo(sheet, engine) <= most:
        return []
    played = played_bpm(sheet.step_beats, step_length(sheet, engine))
    if sheet.length is None:
        what = f"the nearest to tempo {asked:g} that {engine.name} plays is {played:.2f}"
        remedy = f"write tempo {played:.2f}, or choose another step"
    else:
        what = f"length {sheet.length} plays {played:.2f} beats a minute, not {asked:g}"
        remedy = f"take the line length away to hear tempo {asked:g}, or write tempo {played:.2f}"
    return [_at_header(found, "tempo", what, remedy, WARNING)]


def _other_length(sheet: Sheet, engine: Engine) -> str:
    """Return what to do about a length that an engine hasn't: it may be a slip, or another's."""
    if sheet.tempo is not None:
        return f"take the line length away: tempo {sheet.tempo:g} says how fast it plays"
    asked = sheet.length or 0
    nearest = min(engine.step_lengths, key=lambda entry: abs(entry.setting - asked)).setting
    if abs(nearest - asked) <= MOST_OFF_TEMPO * nearest:
        return f"the nearest is {nearest}"
    return "write tempo instead, like tempo 120: the length may be another engine's"


def _memory(found: Scan, engine: Engine, size: Size) -> list[SheetProblem]:
    """Return where the piece gets too long for the engine's memory, if it does."""
    from arranger.sheet.excerpt import first_bars

    room = engine.memory_bytes - engine.code_bytes

    def fits(bars: int) -> bool:
        try:
            return size(first_bars(found.sheet, bars), engine) <= room
        except SheetError:
            return False  # it says so of data that is too much to be numbered

    count = len(found.sheet.bars)
    if fits(count):
        return []
    beyond = bisect_left(range(1, count), True, key=lambda bars: not fits(bars))
    line = found.row_lines[beyond][0]
    what = (
        f"from here on the piece takes more than the {room:,} bytes that {engine.name} has for it"
    )
    return [SheetProblem(ERROR, "memory", line, 1, 3, what, "shorten it, or let bars be alike")]


def _bar_order(found: Scan) -> Iterator[SheetProblem]:
    before: int | None = None
    for bar, lines in zip(found.sheet.bars, found.row_lines, strict=True):
        if before is not None and bar.number <= before:
            what = f"bar {bar.number} comes after bar {before}"
            remedy = "write numbers that rise, or let arranger tidy number the bars anew"
            yield SheetProblem(WARNING, "bar-order", lines[0], 1, 3, what, remedy)
        before = bar.number


def _at_header(
    found: Scan, word: str, what: str, remedy: str, severity: str = ERROR
) -> SheetProblem:
    line = found.header_lines.get(word, 1)
    return SheetProblem(severity, word, line, *found.header_place(line), what, remedy)


def _remedy(error: ArrangerError) -> str:
    if error.remedy:
        return error.remedy
    return "arranger engines lists those there are" if isinstance(error, EngineError) else "mend it"
