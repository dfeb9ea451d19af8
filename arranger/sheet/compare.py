"""Comparing two sheets: bars that differ, and what that means for the notes of the song.

Bars are matched by what they hold and by their numbers (`arranger.sheet.record.align`). Whether a note of
the song is heard is looked up in the rows themselves, so that one ledger is enough for both sheets
and hand edits count: a note is heard when its pitch class sounds in a voice on some step of it, a
drum when its sound starts on its step.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from arranger.pitch import pitch_name
from arranger.rows import tones
from arranger.sheet.form.text import group_steps, plain_number, sound_text
from arranger.sheet.io import read_sheet
from arranger.sheet.merging.pieces import BarPiece, cut_into_bars
from arranger.sheet.merging.refit import common_step, in_steps_of
from arranger.sheet.record.against import song_numbers
from arranger.sheet.record.align import BarDigest, Pair, match_bars, pair_bars
from arranger.sheet.record.digest import bar_digests

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.engine.model import Engine
    from arranger.sheet.model import Sheet


class SongNote(NamedTuple):
    """A note of the song, as a ledger has it."""

    name: str
    """Such as "E4 of 'strings'"."""
    pitch: int
    drum: bool
    bar: int
    """The song's number."""
    beat: Fraction
    beats: Fraction
    """How long it is, in quarter notes."""


@dataclass(frozen=True, slots=True)
class BarDifference:
    """A bar that differs. On a side where it isn't, it is None."""

    left: BarPiece | None
    right: BarPiece | None
    brought_back: tuple[SongNote, ...]
    """Notes of the song that are heard on the right, but not on the left."""
    lost: tuple[SongNote, ...]
    group: int
    """Steps a beat of the bar, 0 if it has no whole number of them."""
    song_number: int | None = None
    """The song's number of the bar; None: the song hasn't it."""

    @property
    def number(self) -> int:
        """The bar's number, of the right side if it is there."""
        view = self.right or self.left
        return view.head.number if view else 0


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two sheets side by side."""

    header: tuple[tuple[str, str, str], ...]
    """Lines of the header that differ: word, left, right."""
    bars: tuple[BarDifference, ...]
    looked_at: int
    """Bars in all."""
    with_song: bool
    """Whether a ledger told which notes the song has."""


class Side(NamedTuple):
    """One of the sheets with what belongs to it."""

    sheet: Sheet
    engine: Engine
    transpose: int


def compare(left: Side, right: Side, notes: Sequence[SongNote] | None) -> Comparison:
    """Return where two sheets differ.

    ``left``, ``right``: the sheets. The one with longer steps is compared in the steps of the
    other.
    ``notes``: the notes of the song, if a ledger tells them.

    Raises `SheetError` if the steps of one are no whole number of the other's.
    """
    header = tuple(
        (word, a, b)
        for word, a, b in zip(
            ("title", "engine", "step", "tempo", "length"),
            _header(left.sheet),
            _header(right.sheet),
            strict=True,
        )
        if a != b
    ) + _sounds(left.sheet, right.sheet)
    songs = song_numbers(left.sheet), song_numbers(right.sheet)
    step = common_step(left.sheet.step_beats, right.sheet.step_beats)
    left = left._replace(sheet=in_steps_of(left.sheet, step).sheet)
    right = right._replace(sheet=in_steps_of(right.sheet, step).sheet)
    by_bar: dict[int, list[SongNote]] = {}
    for note in notes or ():
        by_bar.setdefault(note.bar, []).append(note)
    hearers = _Hearer(left), _Hearer(right)
    pairs = _pairs(left.sheet, right.sheet)
    views = cut_into_bars(left.sheet), cut_into_bars(right.sheet)
    differences = []
    for pair in pairs:
        a = None if pair.base is None else views[0][pair.base]
        b = None if pair.edited is None else views[1][pair.edited]
        if a is not None and b is not None and _played(a) == _played(b):
            continue
        view = b or a
        song = songs[0][pair.base] if pair.base is not None else None
        song = song if pair.edited is None else songs[1][pair.edited]
        asked = [] if song is None else by_bar.get(song, [])
        heard = [(n, hearers[0].hears(n, a), hearers[1].hears(n, b)) for n in asked]
        differences.append(
            BarDifference(
                a,
                b,
                tuple(note for note, before, after in heard if after and not before),
                tuple(note for note, before, after in heard if before and not after),
                group_steps(step, *view.head[2:4]) if view else 0,
                song,
            )
        )
    return Comparison(header, tuple(differences), len(pairs), notes is not None)


def compare_files(left: str | Path, right: str | Path) -> Comparison:
    """Compare two sheet files, with the ledgers that lie beside them.

    Raises `SheetError` if one can't be read, or their steps don't go together; `EngineError` if
    there is no engine that one of them names.
    """
    from arranger.engine import load_engine

    sheets = [read_sheet(path) for path in (left, right)]
    found = [_own_ledger(path, sheet) for path, sheet in zip((left, right), sheets, strict=True)]
    ledgers = [own or other for own, other in zip(found, reversed(found), strict=True)]
    sides = [
        Side(sheet, load_engine(sheet.engine, beside=path), _transpose(sheet, ledger))
        for path, sheet, ledger in zip((left, right), sheets, ledgers, strict=True)
    ]
    notes = None if ledgers[1] is None else song_notes(ledgers[1])
    return compare(sides[0], sides[1], notes)


def _own_ledger(path: str | Path, sheet: Sheet) -> dict[str, Any] | None:
    """Return the ledger beside a sheet, if it is of the song that the sheet was made from."""
    ledger = ledger_if_any(ledger_path(path))
    if ledger is None or not sheet.source_sha256:
        return None
    source = ledger.get("source")
    return (
        ledger if isinstance(source, dict) and source.get("sha256") == sheet.source_sha256 else None
    )


def _transpose(sheet: Sheet, ledger: dict[str, Any] | None) -> int:
    """Return how far the song was moved: as the sheet's settings say, where they say a number.

    The ledger tells it for ``auto`` only: the one beside a sheet may be of a later conversion.
    """
    words = sheet.settings.split()
    asked = words[words.index("--transpose") + 1 :][:1] if "--transpose" in words else ["0"]
    try:
        return int(asked[0]) if asked else 0
    except ValueError:
        value = ledger.get("transpose") if ledger else 0
        return value if isinstance(value, int) else 0


def _asked_sounds(sheet: Sheet) -> dict[int, str]:
    """Return the drum sounds that the sheet's settings give to percussion keys."""
    words = sheet.settings.split()
    pairs = (given.split("=") for word, given in pairwise(words) if word == "--drum")
    return {int(pair[0]): pair[1] for pair in pairs if len(pair) == 2 and pair[0].isdecimal()}


def ledger_path(sheet: str | Path) -> Path:
    """Return where the ledger of a sheet file lies: NAME.ledger.json."""
    return Path(sheet).with_suffix(".ledger.json")


def ledger_if_any(path: Path) -> dict[str, Any] | None:
    """Return what a ledger file holds; None if there is none that can be read as one."""
    try:
        found = json.loads(path.read_bytes())
    except (OSError, ValueError, RecursionError):
        return None
    known = isinstance(found, dict) and found.get("format") == "arranger-ledger"
    return found if known else None


def song_notes(ledger: dict[str, Any]) -> list[SongNote] | None:
    """Return the notes of the song that a ledger accounts for; None if it is damaged."""
    try:
        per_beat = ledger["source"]["ticks_per_beat"]
        names = {
            part["part"]: part["name"]
            for track in ledger["source"]["tracks"]
            for part in track["parts"]
        }
        return [
            SongNote(
                name=f"{_sound(note)} of '{names.get(note['part'], '?')}'",
                pitch=int(note["pitch"]),
                drum=bool(note["drum"]),
                bar=int(note.get("song_bar", note["bar"])),
                beat=Fraction(note["beat"]).limit_denominator(960),
                beats=Fraction(int(note["duration_tick"]), int(per_beat)),
            )
            for note in ledger["notes"]
        ]
    except (LookupError, TypeError, ValueError, ArithmeticError):
        return None


def _header(sheet: Sheet) -> tuple[str, ...]:
    tempo = "" if sheet.tempo is None else plain_number(sheet.tempo)
    length = "" if sheet.length is None else str(sheet.length)
    return sheet.title, sheet.engine, f"{sheet.step_beats} beat", tempo, length


def _sounds(left: Sheet, right: Sheet) -> tuple[tuple[str, str, str], ...]:
    """Return the drum sounds of the sheets' own that differ."""
    a, b = ({each.name: sound_text(each) for each in sheet.sounds} for sheet in (left, right))
    both = ((a.get(name, ""), b.get(name, "")) for name in a | b)
    return tuple(("drum", one, other) for one, other in both if one != other)


def _pairs(left: Sheet, right: Sheet) -> list[Pair]:
    """Return the bars of both sheets: ``base`` is the left one's index, ``edited`` the right's."""
    numbers = [bar.number for bar in right.bars]
    base = [
        BarDigest(bar.number, digest)
        for bar, digest in zip(left.bars, bar_digests(left), strict=True)
    ]
    return pair_bars(match_bars(base, bar_digests(right), numbers), [b.number for b in base], [])


def _played(bar: BarPiece) -> tuple[object, ...]:
    return bar.head[2:4], bar.rows, bar.loop is None


class _Hearer:
    """Knows what sounds on each step of a sheet."""

    def __init__(self, side: Side) -> None:
        sheet = side.sheet
        self._step = sheet.step_beats
        self._engine = side.engine
        self._transpose = side.transpose
        self._drums = sheet.drums
        self._asked = _asked_sounds(sheet)
        self._silencing = self._engine.silencing(sheet.drums)
        self._joins = {sound.name: sound.joins for sound in self._engine.drums}
        self._tones = tones(sheet.voice1), tones(sheet.voice2)

    def hears(self, note: SongNote, bar: BarPiece | None) -> bool:
        """Return whether a note that starts in a bar is heard there or after."""
        if bar is None:
            return False
        # beats of the metre * quarter notes/beat * steps/quarter note = steps
        place = (note.beat - 1) * Fraction(4, bar.head.denominator) / self._step
        first = bar.start + int(place + Fraction(1, 2))
        if not 0 <= first < len(self._drums):
            return False
        if note.drum:
            sound = self._engine.drum_for(note.pitch)
            name = self._asked.get(note.pitch, sound and sound.name)
            said = self._drums[first]
            return said is not None and name in (said, *self._joins.get(said, ()))
        last = first + max(1, int(note.beats / self._step + Fraction(1, 2)))
        asked = note.pitch + self._transpose
        return any(
            pitch is not None and (pitch - asked) % 12 == 0
            for step in range(first, min(last, len(self._drums)))
            if self._drums[step] not in self._silencing
            for pitch in (self._tones[0][step], self._tones[1][step])
        )


def _sound(note: dict[str, Any]) -> str:
    if note["drum"]:
        from arranger.song.general_midi import percussion_name

        return percussion_name(int(note["pitch"]))
    return pitch_name(int(note["pitch"]))
