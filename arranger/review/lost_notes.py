"""Notes of the song that aren't heard: where they could go in the sheet, and what that would displace.

Nothing is guessed: each way is tried, and the account of the sheet with it is compared with the one
of the sheet as it stands.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from arranger.conversion.behind import in_sheet
from arranger.errors import SettingsError
from arranger.report.heard.hearing import CARRIES_LINE
from arranger.report.heard.losses import WORTH
from arranger.review.edits import Tone, with_cells, with_tone
from arranger.sheet.bar_edits.which_bars import DRUMS, VOICES
from arranger.sheet.sounds import sounds_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from arranger.conversion import Conversion
    from arranger.conversion.behind import Behind, InSheet
    from arranger.sheet.model import Sheet

_LOST = {"kept": 0.0, "merged": 0.15, "changed": 0.2, "dropped": 1.0}
"""How much of a note is lost, by its outcome: our own judgement, common practice, no source."""


class Changed(NamedTuple):
    """A note that would fare otherwise."""

    note: int
    line: str
    """"tune", "bass", "harmony" or "drums"."""
    before: str
    after: str
    """Outcomes."""

    @property
    def loss(self) -> float:
        """By how much more is lost, weighed by what the line is worth; below 0: less."""
        return (_LOST[self.after] - _LOST[self.before]) * (WORTH[self.line] / 10)


class Trial(NamedTuple):
    """An edit that was tried."""

    sheet: Sheet
    changed: tuple[Changed, ...]
    """Notes that would fare otherwise, in order."""

    @property
    def loss(self) -> float:
        """By how much more is lost in all; below 0: less."""
        return sum(each.loss for each in self.changed)


class Place(NamedTuple):
    """A place for a lost note."""

    row: int
    """0, 1: a voice; 2: the drums."""
    step: int
    steps: int
    sound: str | None
    """Of a drum."""
    pitch: int | None
    sheet: Sheet
    """With the note there."""


class Way(NamedTuple):
    """A place for a lost note, tried."""

    place: Place
    trial: Trial


def trial(behind: Behind, now: InSheet, sheet: Sheet) -> Trial:
    """Return what another sheet would change.

    ``behind``: the song.
    ``now``: the account of the sheet as it stands.
    ``sheet``: the sheet with an edit.
    """
    then = in_sheet(behind, sheet, now).conversion.reduction.ledger.entries
    pairs = zip(now.conversion.reduction.ledger.entries, then, strict=True)
    changed = tuple(
        Changed(was.note, _line(now.conversion, was.note), was.outcome, will.outcome)
        for was, will in pairs
        if was.outcome != will.outcome
    )
    return Trial(sheet, changed)


def _line(now: Conversion, note: int) -> str:
    """Return which line a note carries."""
    song, weights = now.song, now.reduction.weights
    if song.columns.drum[note]:
        return "drums"
    if weights is None:
        role = now.reduction.roles[int(song.columns.part[note])].role
        return role if role in WORTH else "harmony"
    if weights.tune[note] >= CARRIES_LINE:
        return "tune"
    return "bass" if weights.bass[note] >= CARRIES_LINE else "harmony"


def ways(behind: Behind, now: InSheet, note: int) -> tuple[Way, ...]:
    """Return the places that a note of the song could have, those that lose least first.

    Raises `SettingsError` as `places`.
    """
    where = places(behind, now.conversion, note)
    found = [Way(place, trial(behind, now, place.sheet)) for place in where]
    found.sort(key=lambda way: (way.trial.loss, way.place.row))
    return tuple(found)


def places(behind: Behind, now: Conversion, note: int) -> tuple[Place, ...]:
    """Return the places that a note of the song could have.

    Raises `SettingsError` if the song has no such note, the sheet no place for it, or the engine no
    pitch or sound.
    """
    if not 0 <= note < len(now.song.notes):
        raise SettingsError(f"the song has no note {note}")
    step = int(now.grid.onset_steps[note])
    if step < 0:
        raise SettingsError("the bar of that note isn't in the sheet")
    of_kind = _drums if behind.asked.drum[note] else _tones
    return tuple(of_kind(behind, now, note, step))


def _tones(behind: Behind, now: Conversion, note: int, step: int) -> Iterator[Place]:
    pitch = behind.asked.out[note]
    if pitch not in now.engine.pitches:
        raise SettingsError(f"{now.engine.name} has no pitch for it")
    end = min(step + _length(behind, note), now.sheet.steps)
    for voice in VOICES:
        sheet = with_tone(now.sheet, Tone(voice, pitch, step, end), now.engine)
        yield Place(voice, step, end - step, None, pitch, sheet)


def _length(behind: Behind, note: int) -> int:
    """Return for how many steps a note is written to sound, as long as its key is down."""
    asked = behind.asked
    struck = asked.written_end[note] - asked.rings[note]
    return max(min(asked.end[note], round(struck)) - asked.onset[note], 1)


def _drums(behind: Behind, now: Conversion, note: int, step: int) -> Iterator[Place]:
    mine, there = behind.asked.sound[note], now.sheet.drums[step]
    if mine is None:
        raise SettingsError(f"{now.engine.name} has no sound for it")
    for name in dict.fromkeys(_sounds(now, mine, there)):
        yield Place(DRUMS, step, 1, name, None, with_cells(now.sheet, {(DRUMS, step): name}))


def _sounds(now: Conversion, mine: str, there: str | None) -> Sequence[str]:
    """Return the sounds that say a drum, of those that also say the one that stands there."""
    known = sounds_of(now.sheet, now.engine)
    standing = known.get(there or "")
    said = set() if standing is None else {standing.name, *standing.joins}
    joint = [
        sound.name
        for sound in known.values()
        if mine in sound.joins and said and said <= {*sound.joins}
    ]
    return [*joint, mine]
