"""Where a hand is needed most: what each bar lost, ranked, with a sentence.

The loss of a note is ``SEVERITY[outcome] * role weight * (0.5 + loudness / 2)``: a dropped tune
note is what a listener misses first, a merged harmony note what nobody misses. A note's role is its
part's, or tune or bass where the reduction found that the note itself carries the line. What
the user asked to be left out (muted, too soft to hear, outside the passage) is no loss. The figures
are our own judgement, common practice, no source.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.pitch import pitch_name
from arranger.report.account import account

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from arranger.pipeline import Conversion

SEVERITY: Mapping[str, float] = {"kept": 0.0, "changed": 0.2, "merged": 0.15, "dropped": 1.0}
ROLE_WEIGHT: Mapping[str, float] = {
    "tune": 3.0,
    "bass": 2.0,
    "harmony": 1.0,
    "drums": 0.7,
    "muted": 0.0,
}
LOOKED_AT = 8
"""How many bars are looked at for each piece of advice, to find those that repeat."""

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
    "broken-chord": "played as a broken chord",
    "same-pitch-doubled": "doubled at the same pitch",
    "octave-doubled": "doubled at the octave",
    "repeat-tied": "tied to the note before",
    "voices-full": "left out because both voices were busy",
    "same-step": "left out for a note on the same step",
    "outside-pitch-table": "outside the pitch table",
    "under-drum": "hidden by a drum",
    "no-drum-sound": "without a sound in the engine",
    "drum-thinned": "left out where a drum would hide a line",
    "track-muted": "muted",
    "silent": "too soft to be heard",
    "beyond-limit": "outside the passage",
    "by-hand": "changed by hand",
}


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
        numbers = [str(bar.number) for bar in self.bars]
        if len(numbers) == 1:
            return f"bar {numbers[0]}"
        if len(numbers) > MOST_NAMED:
            more = len(numbers) - MOST_NAMED
            return f"bars {', '.join(numbers[:MOST_NAMED])} and {more} more"
        return f"bars {', '.join(numbers[:-1])} and {numbers[-1]}"


def bar_losses(conversion: Conversion) -> tuple[BarLoss, ...]:
    """Return what each bar of the sheet lost, in order of bars."""
    found = account(conversion)
    bars = conversion.grid.bars
    values = note_values(conversion)
    loss, worth = [0.0] * len(bars), [0.0] * len(bars)
    notes, dropped = [0] * len(bars), [0] * len(bars)
    for entry, index, value in zip(found.entries, found.bar_index, values, strict=True):
        if index < 0 or (entry.reasons and entry.reasons[0] in AS_ASKED):
            continue
        worth[index] += value
        notes[index] += 1
        loss[index] += SEVERITY[entry.outcome] * value
        dropped[index] += entry.outcome == "dropped"
    return tuple(
        BarLoss(place, bar.number, loss[place], worth[place], notes[place], dropped[place])
        for place, bar in enumerate(bars)
    )


def note_roles(conversion: Conversion) -> list[str]:
    """Return the role of each note: tune or bass where it carries that line, else its part's."""
    reduction = conversion.reduction
    of_part = [role.role for role in reduction.roles]
    roles = [of_part[note.part] for note in conversion.song.notes]
    if reduction.weights is None:
        return roles
    for name, weights in (("bass", reduction.weights.bass), ("tune", reduction.weights.tune)):
        for note in np.flatnonzero(np.asarray(weights) >= CARRIES_LINE).tolist():
            if roles[note] != "muted":
                roles[note] = name
    return roles


def note_values(conversion: Conversion) -> list[float]:
    """Return what would be lost with each note: its role's weight times 0.5 to 1 by loudness."""
    return [
        ROLE_WEIGHT[role] * (0.5 + note.loudness / 2)
        for role, note in zip(note_roles(conversion), conversion.song.notes, strict=True)
    ]


def worst_bars(conversion: Conversion, count: int = 5) -> tuple[Advice, ...]:
    """Return the bars with the greatest loss, greatest first; bars that lost nothing are left out.

    Repeated bars that the same was done to share one piece of advice.
    """
    losing = (bar for bar in bar_losses(conversion) if bar.loss > 0)
    ranked = sorted(losing, key=lambda bar: (-round(bar.loss, 6), bar.place))[: count * LOOKED_AT]
    members = _members(conversion, {bar.place for bar in ranked})
    roles = note_roles(conversion)
    told: dict[str, list[BarLoss]] = {}
    for bar in ranked:
        told.setdefault(_sentence(conversion, roles, bar, members[bar.place]), []).append(bar)
    return tuple(Advice(tuple(bars), sentence) for sentence, bars in told.items())[:count]


def _members(conversion: Conversion, wanted: set[int]) -> Mapping[int, list[int]]:
    """Return the ids of the notes that lost something, by bar."""
    found = account(conversion)
    members: dict[int, list[int]] = defaultdict(list)
    for entry, index in zip(found.entries, found.bar_index, strict=True):
        if index in wanted and entry.outcome != "kept" and entry.reasons[0] not in AS_ASKED:
            members[index].append(entry.note)
    return members


def _sentence(conversion: Conversion, roles: list[str], bar: BarLoss, members: list[int]) -> str:
    """Return how many notes are not heard, the main causes, and what the tune lost."""
    entries = conversion.reduction.ledger.entries
    causes = Counter(entries[note].reasons[0] for note in members).most_common(2)
    told = " and ".join(f"{count} {DECIDED[reason]}" for reason, count in causes)
    lead = f"{bar.dropped} of {bar.notes} notes not heard" if bar.dropped else "every note is heard"
    return "; ".join([f"{lead}: {told}", *_lines_hit(conversion, roles, members)])


def _lines_hit(conversion: Conversion, roles: list[str], members: list[int]) -> Iterator[str]:
    """Yield what the tune and the bass lost, by name and beat."""
    found = account(conversion)
    for role in ("tune", "bass"):
        lost = [
            note
            for note in members
            if found.entries[note].outcome == "dropped" and roles[note] == role
        ]
        if lost:
            named = [
                f"{pitch_name(found.notes[n].pitch)} on beat {found.beat[n]:.3g}" for n in lost
            ]
            more = f" and {len(named) - 3} more" if len(named) > 3 else ""
            yield f"the {role} loses {', '.join(named[:3])}{more}"
