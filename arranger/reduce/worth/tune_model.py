"""How likely each note belongs to the tune, where parts and names don't tell: a small neural network.

Every note looks at the `REACH` notes before and after it: how far away each lies in time and pitch
says with what weights its values are added up (a convolution whose kernel is a function of the
distance: Schütt et al., "SchNet", NeurIPS 2017). Then two layers of gated recurrent units (Cho et
al., "Learning phrase representations", EMNLP 2014) read the notes forwards and backwards, which is how
the register, loudness and line of the song's tune get known.

Only distances enter, so that a song in another key or a later place in time gives the same.
``tune_model.npy`` has the numbers of `SHAPES` one after the other;
``tests/benchmarks/train_tune_model.py`` tells how they were made.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, NamedTuple, TypeAlias

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from arranger.columns import unchanging
from arranger.compiled import compiled

if TYPE_CHECKING:
    from collections.abc import Mapping

_compiled = compiled("arranger.reduce.worth._reading", "e77e5164")

Floats: TypeAlias = NDArray[np.float32]

REACH = 12
SHORTEST = 0.02
"""Seconds; a note is taken to last at least this long."""
PADDING = 8
"""Numbers behind the values of a note, of which the first counts it; the others are 0."""
BLOCK = 256
"""Notes whose neighbours are looked at together: so few that they stay in the cache."""
CHUNK = 128
"""Notes that are read in one go. All chunks of a song are read side by side."""
WARM_UP = 96
"""Notes before a chunk that are read first: what lies further back has no say."""
ROUNDED = 16.0
"""Log odds are whole multiples of 1 / this, so that the last bits of a sum, which differ from machine
to machine, hardly ever matter."""

SELF, EDGE, MESSAGE, KERNELS, VALUES, AROUND, UNITS = 7, 14, 24, 12, 24, 64, 48
SHAPES = {
    "message": (EDGE, MESSAGE),
    "message_bias": (MESSAGE,),
    "kernel": (MESSAGE, KERNELS),
    "kernel_bias": (KERNELS,),
    "value": (SELF, VALUES),
    "value_bias": (VALUES,),
    "around": (VALUES * KERNELS + KERNELS + SELF, AROUND),
    "around_bias": (AROUND,),
    "read1": (2, AROUND, 3 * UNITS),
    "read1_bias": (2, 3 * UNITS),
    "keep1": (2, UNITS, 3 * UNITS),
    "keep1_bias": (2, 3 * UNITS),
    "song": (2 * UNITS, 2 * UNITS),
    "song_bias": (2 * UNITS,),
    "read2": (2, 2 * UNITS, 3 * UNITS),
    "read2_bias": (2, 3 * UNITS),
    "keep2": (2, UNITS, 3 * UNITS),
    "keep2_bias": (2, 3 * UNITS),
    "skip": (AROUND, 2 * UNITS),
    "skip_bias": (2 * UNITS,),
    "odds": (2 * UNITS, 1),
    "odds_bias": (1,),
}
"""The network's weights. The leading 2 is the direction of reading: forwards, backwards; the gates of
the recurrent units stand in the order reset, update, new."""


class Voicing(NamedTuple):
    """The notes as the network needs them; each of shape (notes,), in order of onset and pitch."""

    onset: NDArray[np.float64]
    length: Floats
    pitch: Floats
    loudness: Floats

    def at(self, places: slice | NDArray[np.int64]) -> Voicing:
        """Return the notes at some places."""
        return Voicing(
            self.onset[places], self.length[places], self.pitch[places], self.loudness[places]
        )


def voicing(
    onset: NDArray[np.float64],
    end: NDArray[np.float64],
    pitch: NDArray[np.int64],
    loudness: NDArray[np.float64],
) -> Voicing:
    """Return sorted notes (seconds, MIDI numbers, loudness 0..1) as the network needs them."""
    return Voicing(
        onset,
        np.maximum(end - onset, SHORTEST).astype(np.float32),
        pitch.astype(np.float32),
        loudness.astype(np.float32),
    )


def tune_likelihood(notes: Voicing) -> Floats:
    """Return how likely each note belongs to the tune, 0..1; shape (notes,)."""
    net = _network()
    around = heard_around(notes, net)
    line = read_both_ways(around, net, "1")
    line += np.tanh(line.mean(axis=0) @ net["song"] + net["song_bias"])
    line = read_both_ways(line, net, "2")
    line += around @ net["skip"]
    line += net["skip_bias"]
    np.maximum(line, 0.0, out=line)
    odds = (line @ net["odds"])[:, 0] + net["odds_bias"]
    odds = np.round(odds * ROUNDED) / ROUNDED
    return (1.0 / (1.0 + np.exp(-odds))).astype(np.float32)


@cache
def _network() -> Mapping[str, Floats]:
    with files("arranger.reduce.worth").joinpath("tune_model.npy").open("rb") as file:
        flat = np.load(file, allow_pickle=False).astype(np.float32)
    ends = np.cumsum([np.prod(shape) for shape in SHAPES.values()])
    pieces = np.split(flat, ends[:-1])
    return {
        name: unchanging(piece.reshape(shape))
        for (name, shape), piece in zip(SHAPES.items(), pieces, strict=True)
    }


@cache
def _by_kernel() -> Floats:
    """Return the weights of what is heard around a note, shape (KERNELS * (VALUES + 1), AROUND).

    The last of the values is 1 for each note.
    """
    values, ones = np.split(_network()["around"][:-SELF], [VALUES * KERNELS])
    values = values.reshape(VALUES, KERNELS, AROUND)
    return unchanging(np.concatenate((values, ones[None])).swapaxes(0, 1).reshape(-1, AROUND))


def in_song(notes: Voicing) -> Floats:
    """Return length, pitch and loudness of each note against its song; shape (notes, SELF)."""
    pitch, loudness = notes.pitch, notes.loudness
    weight = np.sqrt(np.minimum(notes.length, 2.0))
    height = pitch - np.dot(pitch, weight) / weight.sum()
    spread = np.sqrt(max(float(np.dot(height**2, weight) / weight.sum()), 1.0))
    louder = loudness - loudness.mean()
    deviation = float(loudness.std())
    found = (
        np.log(notes.length),
        np.tanh(height / 6),
        np.tanh(height / 20),
        np.tanh(height / spread / 2),
        louder * 4,
        np.tanh(louder / (deviation + 0.02) / 2),
        np.full_like(louder, deviation * 5),
    )
    return np.stack(found, axis=1).astype(np.float32)


def with_neighbours(notes: Voicing) -> Voicing:
    """Return the notes with `REACH` more before and after them, for which the first or last one stands."""
    last = len(notes.pitch) - 1
    inside = np.clip(np.arange(-REACH, last + 1 + REACH), 0, last)
    return notes.at(inside)


def _windows(column: NDArray[Any]) -> NDArray[Any]:
    """Return the neighbours of each note, itself among them, along a new last axis."""
    return sliding_window_view(column, 2 * REACH + 1, axis=0)


def distances(near: Voicing) -> Floats:
    """Return where the neighbours of notes lie, the notes themselves among them.

    Parameters
    ----------
    near
        The notes, with the `REACH` before and after them.

    Returns
    -------
    Floats
        Shape (EDGE, notes, 2 * REACH + 1).
    """
    onset, lasting, pitch, loudness = (_windows(column) for column in near)
    own = lasting[:, REACH, None]
    start = (onset - onset[:, REACH, None]).astype(np.float32)
    stop = start + lasting
    interval = pitch - pitch[:, REACH, None]
    found = np.empty((EDGE, *start.shape), dtype=np.float32)
    times = ((start, 0.05), (start, 0.3), (start, 1.5), (stop, 0.1), (stop, 0.6), (start - own, 0.1),
             (start - own, 0.6), (stop - own, 0.3), (interval, 1.5), (interval, 5.0),
             (interval, 14.0), (np.log(lasting / own), 1.5))  # fmt: skip
    for row, (values, unit) in zip(found, times, strict=False):
        np.multiply(values, np.float32(1 / unit), out=row)
    np.tanh(found[: len(times)], out=found[: len(times)])
    octaves = interval / 12
    found[-2] = octaves == np.rint(octaves)
    found[-1] = 4 * (loudness - loudness[:, REACH, None])
    return found


def heard_around(notes: Voicing, net: Mapping[str, Floats]) -> Floats:
    """Return what each note's neighbours say, by where they lie; shape (notes, AROUND)."""
    own = in_song(notes)
    value = np.zeros((len(own) + 2 * REACH, VALUES + PADDING), dtype=np.float32)
    heard = value[REACH : len(own) + REACH]
    np.maximum(own @ net["value"] + net["value_bias"], 0.0, out=heard[:, :VALUES])
    heard[:, VALUES] = 1.0  # 0 beside the song, so that no note is heard there
    near = with_neighbours(notes)
    around = _by_kernel()
    found = own @ net["around"][-SELF:] + net["around_bias"]
    for first in range(0, len(own), BLOCK):
        last = min(first + BLOCK, len(own))
        here = slice(first, last + 2 * REACH)
        found[first:last] += _seen(near.at(here), value[here], net) @ around
    np.maximum(found, 0.0, out=found)
    return found


def _seen(near: Voicing, value: Floats, net: Mapping[str, Floats]) -> Floats:
    """Return what stands around notes, added up by each kernel; shape (notes, KERNELS * (VALUES + 1)).

    ``near``: the notes, with the `REACH` before and after them.
    ``value``: the values of the same; behind them 1, or 0 beside the song.
    """
    weights = [net[name] for name in ("message", "message_bias", "kernel", "kernel_bias")]
    if _compiled is None:
        return seen_in_numpy(near, value, *weights)
    found = np.empty((len(value) - 2 * REACH, KERNELS * (VALUES + 1)), dtype=np.float32)
    _compiled.look_around(*near, np.log(near.length), value, *weights, found)
    return found


def seen_in_numpy(
    near: Voicing, value: Floats, message: Floats, bias: Floats, kernel: Floats, kernel_bias: Floats
) -> Floats:
    """Return the same as `_seen`."""
    where = distances(near)
    heard = where.reshape(EDGE, -1).T @ message
    heard += bias
    np.maximum(heard, 0.0, out=heard)
    kernels = (heard @ kernel + kernel_bias).reshape(*where.shape[1:], KERNELS)
    windows = _windows(value[:, : VALUES + 1]).transpose(0, 2, 1)
    found: Floats = kernels.transpose(0, 2, 1) @ windows
    return found.reshape(len(found), -1)


def read_both_ways(seen: Floats, net: Mapping[str, Floats], layer: str) -> Floats:
    """Return the states of recurrent units that read the notes forwards and backwards.

    Parameters
    ----------
    seen
        Shape (notes, features).

    Returns
    -------
    Floats
        Shape (notes, 2 * UNITS).
    """
    nothing = net[f"read{layer}_bias"]
    asked = seen @ net[f"read{layer}"]
    keep, bias = net[f"keep{layer}"], net[f"keep{layer}_bias"]
    if _compiled is None:
        return read_in_numpy(asked, nothing, keep, bias)
    found = np.empty((len(seen), 2 * UNITS), dtype=np.float32)
    _compiled.read_both_ways(asked, nothing, keep, bias, found, CHUNK, WARM_UP)
    return found


def read_in_numpy(asked: Floats, nothing: Floats, keep: Floats, bias: Floats) -> Floats:
    """Return the states of the units after each note; shape (notes, 2 * UNITS).

    ``asked``, ``nothing``: shapes (2, notes, 3 * UNITS) and (2, 3 * UNITS): what each note asks of
    the gates, and what is asked anyway, also where there is no note.
    ``keep``, ``bias``: shapes (2, UNITS, 3 * UNITS) and (2, 3 * UNITS): what the state before asks
    of them.
    """
    many = asked.shape[1]
    place = np.arange(-WARM_UP, CHUNK)[:, None] + np.arange(0, many, CHUNK)
    place = np.where((place < 0) | (place >= many), many, place)
    ways = np.concatenate((asked, np.zeros_like(nothing)[:, None]), axis=1) + nothing[:, None]
    ways[1, :many] = ways[1, :many][::-1].copy()
    states = _run(ways[:, place].transpose(1, 0, 2, 3), keep, bias[:, None])[WARM_UP:]
    lines = states.transpose(1, 2, 0, 3).reshape(2, -1, UNITS)[:, :many]
    return np.concatenate((lines[0], lines[1, ::-1]), axis=1)


def _run(asked: Floats, keep: Floats, bias: Floats) -> Floats:
    """Return the states after each note; the states before the first are 0.

    ``asked``: shape (notes, 2, chunks, 3 * UNITS): what the notes ask of the gates.
    ``keep``, ``bias``: shapes (2, UNITS, 3 * UNITS) and (2, 1, 3 * UNITS): what the state before
    asks of them.
    """
    state = np.zeros((*asked.shape[1:3], UNITS), dtype=np.float32)
    found = np.empty((len(asked), *state.shape), dtype=np.float32)
    for ask, out in zip(asked, found, strict=True):
        kept = state @ keep + bias
        gate = 0.5 + 0.5 * np.tanh(0.5 * (ask[..., : 2 * UNITS] + kept[..., : 2 * UNITS]))
        fresh = np.tanh(ask[..., 2 * UNITS :] + gate[..., :UNITS] * kept[..., 2 * UNITS :])
        np.add(fresh, gate[..., UNITS:] * (state - fresh), out=out)
        state = out
    return found
