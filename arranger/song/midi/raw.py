"""The notes of all tracks as the file writes them, as columns in playing order."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.columns import Ints
    from arranger.song.midi.events import ChannelEvent, TrackEvents


@dataclass(slots=True, kw_only=True, eq=False)
class RawNotes:
    """Columns of shape (notes,), in order of onset, then track, then file order."""

    onset: Ints
    track: Ints
    order: Ints
    """Which event of its track the start is."""
    channel: Ints
    """``16 * port + channel``."""
    pitch: Ints
    velocity: Ints
    end: Ints
    """In ticks; changed in place by `arranger.song.midi.pedals`."""
    end_order: Ints
    """Which event of its track the end is."""
    rings: Ints
    """Ticks at its end for which only a pedal holds it; set in place by `arranger.song.midi.pedals`."""

    def __len__(self) -> int:
        return len(self.onset)


def joined_notes(tracks: Sequence[TrackEvents]) -> RawNotes:
    """Return the notes of all tracks together."""
    columns = {
        name: np.concatenate([np.asarray(getattr(t.notes, name), np.int64) for t in tracks])
        for name in ("onset", "order", "key", "velocity", "end", "end_order")
    }
    counts = [len(track.notes) for track in tracks]
    columns["track"] = np.repeat(np.array([t.index for t in tracks], np.int64), counts)
    playing = np.argsort(columns["onset"], kind="stable")
    columns = {name: column[playing] for name, column in columns.items()}
    key = columns.pop("key")
    rings = np.zeros(len(key), np.int64)
    return RawNotes(channel=key >> 7, pitch=key & 0x7F, rings=rings, **columns)


def events_before(events: Sequence[ChannelEvent], tick: Ints, track: Ints, order: Ints) -> Ints:
    """Return how many events come before each of the moments in playing order.

    ``events``: in playing order.
    ``tick``, ``track``, ``order``: the moments, each of shape (moments,), in any order.
    """
    heads = np.array([event[:3] for event in events], dtype=np.int64).reshape(-1, 3)
    columns = [
        np.concatenate((heads[:, place], moments))
        for place, moments in ((2, order), (1, track), (0, tick))
    ]
    playing = np.lexsort(columns)
    is_event = playing < len(events)
    found = np.empty(len(tick), dtype=np.int64)
    found[playing[~is_event] - len(events)] = np.cumsum(is_event)[~is_event]
    return found
