"""Notes that double another: the same pitch, or the same pitch class, at the same time.

A doubled note is heard through the one that it doubles, so it is merged, not lost. Of notes that
double each other the one most likely to be kept (tune, then bass, then salience) stands for all, so
that there are no chains.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from arranger.columns import order_of
from arranger.song.time import TOGETHER_SECONDS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.columns import Floats, Ints
    from arranger.reduce.worth.copies import Copy
    from arranger.reduce.worth.note_table import NoteTable


def doubles(table: NoteTable, importance: Floats, copies: Sequence[Copy] = ()) -> tuple[Ints, Ints]:
    """Return for each note the one that it doubles in unison, and the one at the octave.

    Parameters
    ----------
    importance
        Shape (notes,): of notes that double each other the one with the most stands for the rest.
    copies
        Parts that copy another. An echo doubles its note when it starts while that still sounds.

    Returns
    -------
    duplicate_of, octave_of : Ints
        Shape (notes,): indices of notes, or -1. A note that doubles in unison has -1 in
        ``octave_of``.
    """
    duplicate_of = _leaders(table, table.pitch, importance)
    octave_of = _leaders(table, table.pitch % 12, importance)
    for copy in copies:
        if copy.is_echo:
            _join_echo(table, copy, octave_of if copy.octaves else duplicate_of)
    octave_of[duplicate_of >= 0] = -1
    return duplicate_of, octave_of


def _join_echo(table: NoteTable, copy: Copy, doubles_of: Ints) -> None:
    """Point the notes of an echo to their originals, in place, keeping it free of chains."""
    rings = table.onset[copy.notes] < table.end[copy.originals]
    echo, original = copy.notes[rings], copy.originals[rings]
    leads = np.isin(echo, doubles_of) | (doubles_of[echo] >= 0)
    echo, original = echo[~leads], original[~leads]
    source = np.where(doubles_of[original] >= 0, doubles_of[original], original)
    doubles_of[echo] = source


def _leaders(table: NoteTable, key: Ints, importance: Floats) -> Ints:
    """Group tonal notes of one key that start together; all but the most important point to it."""
    result = np.full(len(key), -1, dtype=np.int64)
    tonal = np.flatnonzero(table.tonal)
    if not len(tonal):
        return result
    order = tonal[order_of(table.onset[tonal], key[tonal])]
    new = np.ones(len(order), dtype=np.bool_)
    new[1:] = (key[order][1:] != key[order][:-1]) | (np.diff(table.onset[order]) > TOGETHER_SECONDS)
    group = np.cumsum(new) - 1
    ranked = order_of(-importance[order], group)
    leader = order[ranked[np.flatnonzero(new)]][group]
    follows = leader != order
    result[order[follows]] = leader[follows]
    return result
