"""What each bar lost, by line and beat, and which bars to mend first.

A line (tune, bass, harmony, drums) loses on each beat the share of it that isn't heard there
(`arranger.report.heard.hearing`), times what the line is worth to a listener (`WORTH`) and the beat's length. A
bar's loss is the sum, so a beat without its tune counts three times one without its chord, however
many notes the chord has. Everything that speaks of bars ranks them so: the page, its list, the
terminal, the ledger. The figures are our own judgement, common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.bars import beside
from arranger.reduce.reasons import OUTCOMES
from arranger.report.account_columns import account_of
from arranger.report.heard.hearing import LINES, LineHeard, asked_lines, heard_shares, lines_heard
from arranger.report.remember import remembered

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from arranger.conversion import Conversion

WORTH: Mapping[str, int] = {"tune": 30, "bass": 20, "harmony": 10, "drums": 7}
"""What a line that isn't heard costs a beat, in tenths of what the harmony does."""

_WORTH = np.array([WORTH[line] for line in LINES])
LOSS_UNIT = 1000 * 10
"""The loss of a quarter note without its harmony."""
_QUARTER = 16
"""In 64ths of a whole note."""

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

ByLine = tuple[int, ...]
"""A number for each of `LINES`."""
HeardLines = tuple[int | None, ...]
"""How much of each of `LINES` is heard; None where there is nothing of it."""


class BarLoss(NamedTuple):
    """What one bar lost."""

    place: int
    """Index into ``Grid.bars``."""
    number: int
    heard: tuple[int | None, ...]
    """How much of each line is heard, 0 to 100; None where the bar has nothing of it."""
    losses: ByLine
    """In units of which `LOSS_UNIT` are a quarter note without its harmony."""
    notes: int
    """Notes that start in the bar."""
    dropped: int
    song_number: int | None = None
    """The song's number of the bar, where a hand gave it another."""

    @property
    def loss(self) -> int:
        """What all lines lost."""
        return sum(self.losses)

    @property
    def name(self) -> str:
        """The bar's number as told, the song's beside it where that is another."""
        return f"{self.number}{beside(self.number, self.song_number)}"


@remembered
def heard_of(conversion: Conversion) -> NDArray[np.int64]:
    """Return how much of each note is heard, 0 to 100; shape (notes,)."""
    song, engine, grid = conversion.song, conversion.engine, conversion.grid
    return heard_shares(song, engine, grid, conversion.reduction, asked_lines(conversion).line)


@remembered
def beats_heard(conversion: Conversion) -> LineHeard:
    """Return what each line loses on each beat."""
    asked = asked_lines(conversion)
    return lines_heard(conversion.song, conversion.grid, asked, heard_of(conversion))


@remembered
def bar_losses(conversion: Conversion) -> tuple[BarLoss, ...]:
    """Return what each bar of the sheet lost, in order of bars."""
    found, bars = account_of(conversion), conversion.grid.bars
    there = (found.bar_index >= 0) & (asked_lines(conversion).line >= 0)
    index, gone = found.bar_index[there], found.outcome[there] == DROPPED
    heard, losses = _by_bar(beats_heard(conversion), len(bars))
    columns = zip(
        bars,
        heard,
        losses.T.tolist(),
        np.bincount(index, minlength=len(bars)).tolist(),
        np.bincount(index[gone], minlength=len(bars)).tolist(),
        strict=True,
    )
    return tuple(
        BarLoss(place, bar.number, shares, tuple(lost), notes, dropped, bar.song_number)
        for place, (bar, shares, lost, notes, dropped) in enumerate(columns)
    )


def song_heard(conversion: Conversion) -> tuple[int | None, ...]:
    """Return how much of each line is heard in all, 0 to 100; None for a line that the song lacks.

    Only where nothing is lost it is 100.
    """
    return lines_shares(beats_heard(conversion))


def lines_shares(found: LineHeard) -> tuple[int | None, ...]:
    """Return how much of each line is heard in all, see `song_heard`."""
    return heard_along(found, np.zeros_like(found.beats.bar), 1)[0]


def heard_along(found: LineHeard, place: NDArray[np.int64], places: int) -> list[HeardLines]:
    """Return how much of each line is heard in each of some places, 0 to 100.

    ``found``: what each line loses on each beat.
    ``place``: where each beat belongs to, from 0; shape (beats,).
    ``places``: how many there are.
    """
    return _by_bar(LineHeard(found.beats._replace(bar=place), *found[1:]), places)[0]


def song_lost(found: LineHeard) -> int:
    """Return the loss of a song as a share of what it asks for, in thousandths.

    A song of which nothing is heard has lost 1000. Rounded up, so that only 0 means that nothing is
    lost.
    """
    everything = found._replace(lost=np.full_like(found.lost, 1000))
    asked = int(_weighted(everything).sum())
    return -(-1000 * int(_weighted(found).sum()) // asked) if asked else 0


def line_losses(found: LineHeard) -> ByLine:
    """Return what each line lost in all."""
    return tuple(_weighted(found).sum(axis=1).tolist())


def _weighted(found: LineHeard) -> NDArray[np.int64]:
    weighted: NDArray[np.int64] = (
        _WORTH[:, None] * found.lost * found.asked * found.beats.length // _QUARTER
    )
    return weighted


def _by_bar(found: LineHeard, bars: int) -> tuple[list[HeardLines], NDArray[np.int64]]:
    """Return how much of each line is heard in each bar, and what it lost, of shape (4, bars)."""
    index = found.beats.bar

    def sums(values: NDArray[np.int64]) -> NDArray[np.int64]:
        # Whole numbers far below 2 ** 53 stay exact.
        return np.array([np.bincount(index, row, bars) for row in values]).astype(np.int64)

    length = found.asked * found.beats.length
    asked, lost = sums(length), sums(length * found.lost)
    share = 100 - -(-lost // np.maximum(asked * 10, 1))  # rounded down
    shares = np.where(asked > 0, share, -1).T.tolist()
    heard = [tuple(None if each < 0 else each for each in bar) for bar in shares]
    return heard, sums(_weighted(found))
