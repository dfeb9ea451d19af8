"""Where a hand is needed most: what each bar lost, ranked, with a sentence.

The loss of a note is ``SEVERITY[outcome] * role weight * (0.5 + loudness / 2)``: a dropped tune
note is what a listener misses first, a merged harmony note what nobody misses. A note's role is
what the reduction found it to carry (`note_roles`). Where passages are made of chords, a note that takes
turns with the rest of its chord has lost nothing; a line that is cut up for turns has changed. What the
user asked to be left out (muted, too soft to hear, outside the passage) is no loss. The figures are our
own judgement, common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.bars import beside
from arranger.columns import unchanging
from arranger.pitch import pitch_name
from arranger.reduce.choose.material import MOST_OF_BAR
from arranger.reduce.reasons import OUTCOMES, REASONS
from arranger.report.account import account, outcome_indices, reason_counts
from arranger.report.remember import remembered

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from numpy.typing import NDArray

    from arranger.conversion import Conversion
    from arranger.grid.model import Grid
    from arranger.reduce.model import Reduction

SEVERITY: Mapping[str, float] = {"kept": 0.0, "changed": 0.2, "merged": 0.15, "dropped": 1.0}
ROLE_WEIGHT: Mapping[str, float] = {
    "tune": 3.0,
    "bass": 2.0,
    "harmony": 1.0,
    "drums": 0.7,
    "muted": 0.0,
}
BARS_LOOKED_AT = 32
"""How many bars are looked at, to find those that repeat."""

MOST_ADVICE = 8

MOST_NAMED = 6

CARRIES_LINE = 0.5
"""Tune or bass weight from which a note counts as that line."""

AS_ASKED = frozenset({"track-muted", "silent", "beyond-limit", "by-hand"})

DECIDED: Mapping[str, str] = {
    "moved-to-step": "moved to a step",
    "lengthened-to-step": "made as long as a step",
    "shortened-by-next-note": "cut short by the next note",
    "shortened-for-gap": "shortened so that the next attack is heard",
    "delayed-by-drum": "late because of a drum",
    "octave-folded": "in another octave",
    "broken-chord": "by turns with the rest of its chord",
    "same-pitch-doubled": "doubled at the same pitch",
    "octave-doubled": "doubled at the octave",
    "repeat-tied": "tied to the note before",
    "voices-full": "left out because both voices were busy",
    "no-turn": "left out where the turns went to other notes",
    "stands-alone": "left out so as not to stand alone",
    "same-step": "left out for a note on the same step",
    "outside-pitch-table": "outside the pitch table",
    "under-drum": "hidden by a drum",
    "no-drum-sound": "without a sound in the engine",
    "drum-thinned": "left out, as a drum would hide a line",
    "track-muted": "muted",
    "silent": "too soft to be heard",
    "beyond-limit": "outside the passage",
    "by-hand": "changed by hand",
}


KEPT, DROPPED = (list(OUTCOMES).index(name) for name in ("kept", "dropped"))

_SEVERITY = np.array([SEVERITY[name] for name in OUTCOMES])
_AS_ASKED = np.array([reason in AS_ASKED for reason in REASONS] + [False])
"""By index of the deciding reason; the last is for -1, no reason."""


class BarLoss(NamedTuple):
    """What one bar lost."""

    place: int
    """Index into ``Grid.bars``."""
    number: int
    loss: float
    worth: float
    """The loss if nothing of the bar were heard; 0 for a bar without notes."""
    notes: int
    """Notes that start in the bar."""
    dropped: int
    song_number: int | None = None
    """The song's number of the bar, where a hand gave it another."""

    @property
    def share(self) -> float:
        """The share that was lost of what the bar is worth, 0..1."""
        return self.loss / self.worth if self.worth else 0.0


class Advice(NamedTuple):
    """Bars that need a hand and that the same was done to, and what."""

    bars: tuple[BarLoss, ...]
    sentence: str

    @property
    def named(self) -> str:
        """The bars as people say them: "bars 7, 15 and 31"; many are counted."""
        numbers = [f"{bar.number}{beside(bar.number, bar.song_number)}" for bar in self.bars]
        if len(numbers) == 1:
            return f"bar {numbers[0]}"
        if len(numbers) > MOST_NAMED:
            more = len(numbers) - MOST_NAMED
            return f"bars {', '.join(numbers[:MOST_NAMED])} and {more} more"
        return f"bars {', '.join(numbers[:-1])} and {numbers[-1]}"


@remembered
def bar_losses(conversion: Conversion) -> tuple[BarLoss, ...]:
    """Return what each bar of the sheet lost, in order of bars."""
    found = account(conversion)
    bars = conversion.grid.bars
    counted = (found.bar_index >= 0) & ~_AS_ASKED[found.decided]
    index, outcome = found.bar_index[counted], found.outcome[counted]
    value = note_values(conversion)[counted]
    lost = _SEVERITY[outcome] * ~chords_by_turns(conversion.reduction, conversion.grid)[counted]

    def total(weights: NDArray[np.float64] | NDArray[np.bool_]) -> list[float]:
        totals: list[float] = np.bincount(index, weights, len(bars)).tolist()
        return totals

    columns = zip(
        bars,
        total(lost * value),
        total(value),
        total(np.ones(len(index))),
        total(outcome == DROPPED),
        strict=True,
    )
    return tuple(
        BarLoss(place, bar.number, loss, worth, int(notes), int(dropped), bar.song_number)
        for place, (bar, loss, worth, notes, dropped) in enumerate(columns)
    )


@remembered
def note_roles(conversion: Conversion) -> NDArray[np.int64]:
    """Return the role of each note, as an index into `ROLE_WEIGHT`.

    Where the reduction weighed each note, a note is tune or bass if it carries that line itself (a
    piano part may have the bass and the chords), else harmony; without weights it is what its part
    is.
    """
    reduction = conversion.reduction
    names = list(ROLE_WEIGHT)
    of_part = np.array([names.index(role.role) for role in reduction.roles], dtype=np.int64)
    roles: NDArray[np.int64] = of_part[np.array(account(conversion).note["part"], dtype=np.int64)]
    if reduction.weights is None:
        return unchanging(roles)
    pitched = (roles != names.index("muted")) & (roles != names.index("drums"))
    roles[pitched] = names.index("harmony")
    for name, weights in (("bass", reduction.weights.bass), ("tune", reduction.weights.tune)):
        roles[(weights >= CARRIES_LINE) & pitched] = names.index(name)
    return unchanging(roles)


def note_values(conversion: Conversion) -> NDArray[np.float64]:
    """Return what would be lost with each note: its role's weight times 0.5 to 1 by loudness."""
    weights = np.array(list(ROLE_WEIGHT.values()))[note_roles(conversion)]
    loudness = np.array(account(conversion).note["loudness"], dtype=np.float64)
    values: NDArray[np.float64] = weights * (0.5 + loudness / 2)
    return values


def chords_by_turns(reduction: Reduction, grid: Grid) -> NDArray[np.bool_]:
    """Return which notes take turns in a passage that is made of chords; shape (notes,)."""
    chords = np.zeros(grid.steps, dtype=np.bool_)
    for passage in reduction.passages:
        for bar in grid.bars if passage.chords >= MOST_OF_BAR else ():
            if passage.first_bar <= bar.number <= passage.last_bar:
                chords[bar.first_step : bar.first_step + bar.steps] = True
    turns = [entry.reasons[:1] == ("broken-chord",) for entry in reduction.ledger.entries]
    found: NDArray[np.bool_] = np.array(turns) & chords[np.maximum(grid.onset_steps, 0)]
    return found


def total_loss(reduction: Reduction, grid: Grid, values: NDArray[np.float64]) -> float:
    """Return the loss of a whole song, its notes being worth so much."""
    outcome = outcome_indices(entry.outcome for entry in reduction.ledger.entries)
    return float(np.sum(_SEVERITY[outcome] * ~chords_by_turns(reduction, grid) * values))


def worst_bars(conversion: Conversion, count: int = 5) -> tuple[Advice, ...]:
    """Return the bars with the greatest loss, greatest first; bars that lost nothing are left out.

    Repeated bars that the same was done to share one piece of advice. At most `MOST_ADVICE`.
    """
    return _ranked(conversion)[:count]


@remembered
def _ranked(conversion: Conversion) -> tuple[Advice, ...]:
    losing = (bar for bar in bar_losses(conversion) if bar.loss > 0)
    ranked = sorted(losing, key=lambda bar: (-round(bar.loss, 6), bar.place))[:BARS_LOOKED_AT]
    members = _members(conversion, [bar.place for bar in ranked])
    told: dict[str, list[BarLoss]] = {}
    for bar in ranked:
        told.setdefault(_sentence(conversion, bar, members[bar.place]), []).append(bar)
    return tuple(Advice(tuple(sorted(bars)), told_so) for told_so, bars in told.items())[
        :MOST_ADVICE
    ]


def _members(conversion: Conversion, wanted: list[int]) -> Mapping[int, NDArray[np.int64]]:
    """Return the ids of the notes that lost something, by bar."""
    found = account(conversion)
    whole = (found.outcome == KEPT) | _AS_ASKED[found.decided]
    lost = np.flatnonzero(~whole & ~chords_by_turns(conversion.reduction, conversion.grid))
    index = found.bar_index[lost]
    return {place: lost[index == place] for place in wanted}


def _sentence(conversion: Conversion, bar: BarLoss, members: NDArray[np.int64]) -> str:
    """Return how many notes are not heard and why, what else was done, what tune and bass lost."""
    outcome = account(conversion).outcome[members]
    dropped = _causes(conversion, members[outcome == DROPPED])
    others = _causes(conversion, members[outcome != DROPPED])
    if not dropped:
        return f"every note is heard, but {others}"
    told = [f"{bar.dropped} of {bar.notes} notes not heard: {dropped}"]
    if others:
        told.append(f"of those heard, {others}")
    return "; ".join([*told, *_lines_hit(conversion, members)])


def _causes(conversion: Conversion, notes: NDArray[np.int64]) -> str:
    """Return the two main reasons of some notes, with their number; empty for no notes."""
    counts = reason_counts(account(conversion).decided[notes])
    return " and ".join(f"{count} {DECIDED[why]}" for why, count in list(counts.items())[:2])


def _lines_hit(conversion: Conversion, members: NDArray[np.int64]) -> Iterator[str]:
    """Yield what the tune and the bass lost, by name and beat."""
    found = account(conversion)
    dropped = members[found.outcome[members] == DROPPED]
    roles = note_roles(conversion)[dropped]
    for index, role in enumerate(ROLE_WEIGHT):
        lost = dropped[roles == index].tolist() if role in {"tune", "bass"} else []
        if lost:
            pitches = found.note["pitch"]
            named = [f"{pitch_name(pitches[n])} on beat {found.beat[n]:.3g}" for n in lost]
            more = f" and {len(named) - 3} more" if len(named) > 3 else ""
            yield f"the {role} loses {', '.join(named[:3])}{more}"
