"""The list of what was mended, kept short when a file has the same damage a thousand times."""

from __future__ import annotations

from collections import Counter

from arranger.song.model import Repair

_SHOWN = 5
"""How many repairs of one kind are listed for each track."""


class Repairs:
    """Gathers repairs in the order in which they are made."""

    def __init__(self) -> None:
        self._listed: list[Repair] = []
        self._counts: Counter[tuple[int, str]] = Counter()
        self.count = 0
        """How many repairs were made, listed or not."""

    def add(self, track: int, byte: int, what: str, kind: str | None = None) -> None:
        """Note a repair down.

        ``track``: number of the track, from 1; 0 for what lies outside the tracks.
        ``byte``: offset in the file.
        ``what``: what was wrong and what was done.
        ``kind``: repairs of one kind are counted together; by default those that say the same.
        """
        key = (track, kind or what)
        self._counts[key] += 1
        self.count += 1
        if self._counts[key] <= _SHOWN:
            chunk = f"track {track}" if track else "file"
            self._listed.append(Repair(f"{chunk}, byte 0x{byte:04x}", what))

    def listed(self) -> list[Repair]:
        """Return the repairs, and a count of those of each kind that aren't shown one by one."""
        more = [
            Repair(f"track {track}" if track else "file", f"{count - _SHOWN} more: {kind}")
            for (track, kind), count in self._counts.items()
            if count > _SHOWN
        ]
        return self._listed + more
