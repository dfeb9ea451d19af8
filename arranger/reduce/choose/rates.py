"""What everything costs in whole numbers: the one place where costs are rounded.

The cost table weighs in beats of the tune. Here each elementary cost (the start of one tone, one
step of it, one semitone of a leap...) is rounded once to a unit of ``1 / UNITS`` beats; all else is
sums and whole multiples of these. So a sum is the same in every order of its additions, ties are
ties on every machine, and what lasts n steps costs exactly n times what one step costs, which is
what lets voices change at events only (`arranger.reduce.choose.costs`). Where rounding could break
a bound on which that rests, it goes the safe way.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from arranger.errors import SettingsError
from arranger.reduce.choose.breaths import scraps
from arranger.reduce.choose.candidates import IN_LINE
from arranger.reduce.choose.costs import LEAP_LIMIT, SPLIT_SECONDS, STREAM

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from arranger.columns import Bools, Ints
    from arranger.reduce.choose.candidates import ChoiceProblem
    from arranger.reduce.choose.costs import Costs

UNITS = 2**24
"""Of cost in a beat of the tune."""

FAR = 2**61
"""The cost of what can't be: more than any path, and no sum with one of them overflows."""

MOST = 2**60
"""Units that leaving out the whole song may cost."""


def units(cost: ArrayLike) -> Ints:
    """Return costs in beats of the tune as whole units, halves to the even one."""
    found: Ints = np.rint(np.multiply(cost, UNITS)).astype(np.int64)
    return found


class Worth(NamedTuple):
    """What is lost with a tone that isn't heard; each of shape (tones + 1,)."""

    tune: Ints
    bass: Ints
    salience: Ints
    """What the same pitch of another tone makes up for: not what it has of tune and bass, or a line
    would be chopped by what doubles it."""
    by_octave: Ints
    """What another octave of it makes up for."""

    @property
    def whole(self) -> Ints:
        """All that is lost."""
        return self.tune + self.bass + self.salience


class Lost(NamedTuple):
    """What leaving out all that sounds costs; each of shape (T,)."""

    tune: Ints
    bass: Ints
    salience: Ints


class Rates(NamedTuple):
    """Whole costs of a problem of T segments and K slots.

    What has one entry a tone has a last one for the rest, which is found at -1 and is all 0.
    """

    problem: ChoiceProblem
    pitch: Ints
    onset: Ints
    released: Ints
    whose: Ints
    """The part, doubled, and one more for the tune: what a voice goes over from and to."""
    unheard: Bools
    lean: NDArray[np.float64]
    """Tune weight minus bass weight."""
    in_tune: Bools
    start: Worth
    """Of the start of each tone."""
    step: Worth
    """Of each of its steps. Where tones ring on, of shape (2 * tones + 1,): the n-th tone is found at
    n while its key is down, and at tones + n while only a pedal holds it."""
    broken: Ints
    """For each step left until its key comes up when a tone is broken off."""
    gap: Ints
    """For starting a tone that repeats one of two steps or more."""
    tied: Ints
    """...and one of a single step."""
    wrong1: Ints
    """For its start in voice 1."""
    wrong2: Ints
    delay: float
    """Share of a start that is lost when a drum covers it."""
    crossing: float
    """For each step, before rounding: it is shared by how much the roles want it."""
    doubling: int
    """For each step."""
    unison: int
    """For each step."""
    late: int
    entry: int
    leap: int
    split: Ints
    """Shape (steps + 1,): for each semitone over `STREAM` of a leap to a start, by the steps since the
    start of the tone before."""
    line: int
    starts_lost: Lost
    steps_lost: Lost
    scrap: Ints
    """Shape (T, K): of holding a slot in voice 1."""
    turn: Ints | None = None
    """Shape (2, T, K): of a voice holding a slot out of turn; None where no chords are broken."""
    free: Bools | None = None
    """Shape (2, T): where a voice moves freely except into and out of the tune; None for nowhere."""
    change: int = 0
    """What each change of a voice costs beside, so that the song takes fewer bytes."""

    def delayed(self, start: Ints) -> Ints:
        """Return what is lost of starts that a drum covers."""
        found: Ints = np.rint(self.delay * start).astype(np.int64)
        return found


def rates_of(problem: ChoiceProblem, costs: Costs, step_seconds: float) -> Rates:
    """Return the whole costs of a problem whose steps last so long.

    Raises `SettingsError` if the costs are so large that the sums of a song so long leave 64 bits.
    """
    tones, beats = problem.tones, 1 / problem.steps_per_beat
    start = _worth(problem, costs, costs.attack)
    step = _worth(problem, costs, costs.sustain * beats)
    if (tones.released < tones.end).any():
        ringing = _worth(problem, costs, costs.sustain * beats * costs.ring)
        step = Worth(*(np.append(a[:-1], b) for a, b in zip(step, ringing, strict=True)))
    whole = start.whole[:-1]
    held = tones.released - tones.onset
    every = step.whole[: len(tones)].astype(np.float64)
    lost = float(np.dot(every, tones.end - tones.onset)) + float(whole.sum())
    if lost * max(costs.scrap, 1.0) > MOST:
        raise SettingsError(
            "the costs are too large for so long a song",
            remedy="make them all smaller: what counts is how they compare",
        )
    # rounded up, so that all steps left together cost no less than the start was worth
    broken = np.ceil(costs.break_off * whole / np.maximum(held - 1, 1)).astype(np.int64)
    leap, line = int(units(costs.leap)), int(units(costs.line))
    in_tune = tones.tune >= IN_LINE
    split = int(units(costs.split))
    quick = (LEAP_LIMIT - STREAM) * split
    return Rates(
        problem=problem,
        pitch=_padded(tones.pitch),
        onset=_padded(tones.onset),
        released=_padded(tones.released),
        whose=_padded(2 * tones.part + in_tune),
        unheard=_padded(problem.unheard),
        lean=_padded(tones.tune - tones.bass),
        in_tune=_padded(in_tune),
        start=start,
        step=step,
        broken=_padded(broken),
        gap=_padded((tones.repeats == 2) * units(costs.gap)),
        tied=_padded((tones.repeats == 1) * np.rint(costs.tied * whole).astype(np.int64)),
        wrong1=_padded(_share(costs.wrong_voice * (1 - tones.tune), start.bass[:-1])),
        wrong2=_padded(_share(costs.wrong_voice * (1 - tones.bass), start.tune[:-1])),
        delay=costs.delay,
        crossing=costs.crossing * beats,
        doubling=int(units(costs.doubling * beats)),
        unison=int(units(costs.unison * beats)),
        late=max(int(units(costs.late)), quick),
        entry=max(int(units(costs.entry)), LEAP_LIMIT * leap + quick + line),
        leap=leap,
        split=_splits(problem.steps, step_seconds, split),
        line=line,
        scrap=_scraps(problem, start, step, costs),
        starts_lost=_starts_lost(problem, start),
        steps_lost=_steps_lost(problem, step),
    )


def _share(share: ArrayLike, cost: ArrayLike) -> Ints:
    """Return shares of costs, rounded down."""
    found: Ints = np.floor(np.multiply(share, cost)).astype(np.int64)
    return found


def _scraps(problem: ChoiceProblem, start: Worth, step: Worth, costs: Costs) -> Ints:
    """Return what holding each slot costs voice 1: a share of its whole worth for each step."""
    length = np.maximum(_padded(problem.tones.end - problem.tones.onset), 1)
    each = _share(costs.scrap, np.append(step.whole[: len(length) - 1], 0) + start.whole / length)
    found: Ints = scraps(problem) * each[problem.candidates] * problem.lengths[:, None]
    return found


def _splits(steps: int, step_seconds: float, most: int) -> Ints:
    """Return what a semitone of a leap costs by how long the tone before has sounded."""
    slow, fast = SPLIT_SECONDS
    seconds = np.arange(steps + 1) * step_seconds
    return _share(np.clip((slow - seconds) / (slow - fast), 0.0, 1.0), most)


def _worth(problem: ChoiceProblem, costs: Costs, share: float) -> Worth:
    tones = problem.tones
    return Worth(
        tune=_padded(units(share * costs.tune * tones.tune)),
        bass=_padded(units(share * costs.bass * tones.bass)),
        salience=_padded(units(share * tones.plain_worth)),
        by_octave=_padded(units(share * costs.octave * tones.plain_worth)),
    )


def _starts_lost(problem: ChoiceProblem, start: Worth) -> Lost:
    first = np.searchsorted(problem.starts, problem.tones.onset)
    return Lost(*(_summed(first, kind[:-1], len(problem.starts)) for kind in start[:3]))


def _steps_lost(problem: ChoiceProblem, step: Worth) -> Lost:
    count = len(problem.starts) + 1
    tones = problem.tones
    edges = [tones.onset, tones.end]
    if len(step.tune) > len(tones) + 1:
        edges = [tones.onset, tones.released, tones.released, tones.end]
    first, after = (
        np.searchsorted(problem.starts, np.concatenate(each)) for each in (edges[::2], edges[1::2])
    )
    changes = (
        _summed(first, kind[:-1], count) - _summed(after, kind[:-1], count) for kind in step[:3]
    )
    return Lost(*(np.cumsum(change)[:-1] * problem.lengths for change in changes))


def _summed(place: Ints, values: Ints, count: int) -> Ints:
    found = np.zeros(count, dtype=np.int64)
    np.add.at(found, place, values)
    return found


def _padded(column: NDArray[Any]) -> NDArray[Any]:
    return np.append(column, np.zeros(1, dtype=column.dtype))
