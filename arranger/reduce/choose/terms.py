"""The terms of the cost table, each defined once, for all choices of many segments at a time.

Each function yields the name of a term and whole costs that stretch over (segments, slots,
slots): for what is held over the slots of voice 1 and voice 2, for moves over the slots before and
now of one voice. A term may come in several parts, such as one for each voice. `price` adds all up;
`breakdown` picks those of one path. What is left out is told as ``tune``, ``bass`` and
``salience``, by what made the lost note worth something; ``delay`` is what a drum covers.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.reduce.choose.costs import LEAP_LIMIT, STREAM
from arranger.reduce.choose.rates import units

if TYPE_CHECKING:
    from arranger.columns import Bools, Ints
    from arranger.reduce.choose.rates import Rates, Worth

Terms = Iterator[tuple[str, "Ints"]]


class Batch(NamedTuple):
    """Some segments (n of them) and the tones in their slots (K)."""

    rows: Ints
    """Shape (n,): the segments."""
    slots: Ints
    """Shape (n, K): the tones; -1 for none."""
    lasting: Ints
    """Shape (n, K): where in `Rates.step` to find what a step of them is worth."""
    fresh: Bools
    """Shape (n, K): the tone starts here."""
    apart: Ints
    """Shape (n, K, K): semitones that the pitch of the first slot is above that of the second."""
    alike: Bools
    """Shape (n, K, K): two tones of one pitch class, not the same tone."""
    struck: Bools
    """Shape (n, K, K): both start here."""

    def only(self, which: Ints) -> Batch:
        """Return some of the segments."""
        return Batch._make(column[which] for column in self)


def batch_of(rates: Rates, rows: Ints, width: int) -> Batch:
    """Return segments with their first slots, ``width`` of them."""
    problem = rates.problem
    slots = problem.candidates[rows, :width]
    used = slots >= 0
    fresh = used & (rates.onset[slots] == problem.starts[rows, None])
    lasting = slots
    if len(rates.step.tune) > len(rates.onset):
        rings = used & (rates.released[slots] <= problem.starts[rows, None])
        lasting = slots + len(problem.tones) * rings
    pitch = rates.pitch[slots]
    pitch_class = pitch % 12
    alike = used[:, :, None] & used[:, None, :]
    alike &= pitch_class[:, :, None] == pitch_class[:, None, :]
    itself = np.arange(width)
    alike[:, itself, itself] = False
    apart = pitch[:, :, None] - pitch[:, None, :]
    struck = fresh[:, :, None] & fresh[:, None, :]
    return Batch(rows, slots, lasting, fresh, apart, alike, struck)


def quiet_terms(rates: Rates, batch: Batch) -> Terms:
    """Yield what it costs to hold two slots while no drum silences them."""
    rows, slots, fresh, alike = batch.rows, batch.slots, batch.fresh, batch.alike
    steps = rates.problem.lengths[rows, None]
    for kind in ("tune", "bass"):
        start, step = getattr(rates.start, kind), getattr(rates.step, kind)
        yield kind, _all(rates, rows, kind)
        yield from _each(kind, -(steps * step[batch.lasting] + fresh * start[slots]))
    yield "salience", _all(rates, rows, "salience")
    sounding = steps[:, :, None] * _heard(batch, batch.lasting, rates.step)
    starting = batch.struck * _heard(batch, slots, rates.start)
    yield from _each("salience", -(sounding.sum(axis=2) + starting.sum(axis=2)))
    yield "salience", _twice(batch, sounding, starting)
    for kind, repeated in (("gap", rates.gap), ("tied", rates.tied)):
        yield from _each(kind, fresh * repeated[slots])
    yield "wrong-voice", (fresh * rates.wrong1[slots])[:, :, None]
    yield "wrong-voice", (fresh * rates.wrong2[slots])[:, None, :]
    lean, used = rates.lean[slots], slots >= 0
    meant = np.minimum(np.maximum(lean[:, :, None] - lean[:, None, :], 0.0), 1.0)
    crossed = (batch.apart < 0) & used[:, :, None] & used[:, None, :]
    yield "crossing", crossed * (steps[:, :, None] * units(rates.crossing * (1.0 - meant)))
    same = alike & (batch.apart == 0)
    yield "doubling", (alike & ~same) * (rates.doubling * steps)[:, :, None]
    yield "unison", same * (rates.unison * steps)[:, :, None]
    yield "scrap", rates.scrap[rows, : slots.shape[1], None]
    yield from _turns(rates, batch)


def covered_terms(rates: Rates, batch: Batch) -> Terms:
    """Yield the same while a drum silences both voices for the whole segment."""
    rows, slots = batch.rows, batch.slots
    unheard = rates.unheard[slots]
    fresh = batch.fresh & ~unheard
    for kind in ("tune", "bass"):
        yield kind, _all(rates, rows, kind)
        yield from _each(kind, -(fresh * getattr(rates.start, kind)[slots]))
    yield "salience", _all(rates, rows, "salience")
    struck = batch.struck & ~unheard[:, :, None]
    starting = struck * _heard(batch, slots, rates.start)
    yield from _each("salience", -starting.sum(axis=2))
    yield "salience", _twice(batch, starting)
    itself = np.arange(slots.shape[1])
    starting[:, itself, itself] = fresh * rates.start.whole[slots]
    delayed = rates.delayed(starting)
    yield from _each("delay", delayed.sum(axis=2))
    yield "delay", -_twice(batch, delayed)
    yield from _turns(rates, batch)


def move_terms(rates: Rates, batch: Batch, voice: int) -> Terms:
    """Yield what it costs a voice to go from each slot before to each slot now."""
    goes = changes(rates, batch)
    if rates.change:
        yield "bytes", rates.change * goes
    goes = costly(rates, batch, goes, voice)
    for term, cost in going_terms(rates, batch):
        yield term, goes * cost


def changes(rates: Rates, batch: Batch) -> Bools:
    """Return whether a voice that goes from each slot before to each slot now changes what it holds."""
    found: Bools = _before(rates, batch)[:, :, None] != batch.slots[:, None, :]
    return found


def costly(rates: Rates, batch: Batch, goes: Bools, voice: int) -> Bools:
    """Return which changes cost a voice more than bytes."""
    if rates.free is None:
        return goes
    before = _before(rates, batch)
    tune = rates.in_tune[before][:, :, None] | rates.in_tune[batch.slots][:, None, :]
    found: Bools = goes & (tune | ~rates.free[voice - 1, batch.rows, None, None])
    return found


def going_terms(rates: Rates, batch: Batch) -> Terms:
    """Yield what costly changes cost either voice; what stands where nothing changes doesn't count."""
    rows, now, before = batch.rows, batch.slots, _before(rates, batch)
    left = np.maximum(rates.released[before] - rates.problem.starts[rows, None], 0)
    yield "break", (left * rates.broken[before])[:, :, None]
    yield "late", (rates.late * ((now >= 0) & ~batch.fresh))[:, None, :]
    held, used = (before >= 0)[:, :, None], (now >= 0)[:, None, :]
    yield "entry", (~held & used) * rates.entry
    distance = np.abs(rates.pitch[before][:, :, None] - rates.pitch[now][:, None, :])
    distance = np.minimum(distance, LEAP_LIMIT)
    goes = held & used
    yield "leap", goes * (rates.leap * distance)
    split = rates.split[rates.problem.starts[rows, None] - rates.onset[before]]
    wide = np.maximum(distance - STREAM, 0)
    yield "split", (goes & batch.fresh[:, None, :]) * (split[:, :, None] * wide)
    over = rates.whose[before][:, :, None] != rates.whose[now][:, None, :]
    yield "line", (goes & over) * rates.line


def _before(rates: Rates, batch: Batch) -> Ints:
    """Return the slots of the segments before; before the first both voices rest, in slot 0."""
    found: Ints = rates.problem.candidates[batch.rows - 1, : batch.slots.shape[1]]
    found[batch.rows == 0] = -1
    return found


def _each(term: str, cost: Ints) -> Terms:
    """Yield for both voices what a term costs by the slot that one of them holds."""
    yield term, cost[:, :, None]
    yield term, cost[:, None, :]


def _all(rates: Rates, rows: Ints, kind: str) -> Ints:
    lost: Ints = getattr(rates.starts_lost, kind)[rows] + getattr(rates.steps_lost, kind)[rows]
    return lost[:, None, None]


def _heard(batch: Batch, places: Ints, worth: Worth) -> Ints:
    """Return what is heard of the tone of each second slot while a voice holds the first.

    ``places``, of shape (n, K), says where in the worth the tones of the slots are.
    """
    same, by_octave = worth.salience[places], worth.by_octave[places]
    found: Ints = np.where(batch.apart == 0, same[:, None, :], by_octave[:, None, :])
    found = found * batch.alike
    itself = np.arange(places.shape[1])
    found[:, itself, itself] = same
    return found


def _twice(batch: Batch, *heard: Ints) -> Ints:
    """Return what both voices let be heard: counted for each of them, it counts once."""
    found: Ints = np.zeros(batch.alike.shape, dtype=np.int64)
    width = np.arange(batch.slots.shape[1])
    t, a, b = np.nonzero(batch.alike & (width[:, None] < width))
    for each in heard:
        shared = np.minimum(each[t, a], each[t, b]).sum(axis=1)
        found[t, a, b] += shared
        found[t, b, a] += shared
    return found


def _turns(rates: Rates, batch: Batch) -> Terms:
    if rates.turn is not None:
        voice1, voice2 = rates.turn[:, batch.rows, : batch.slots.shape[1]]
        yield "turn", voice1[:, :, None]
        yield "turn", voice2[:, None, :]
