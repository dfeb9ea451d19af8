"""Stretches of examples on the device, cut at random, as `train_bars` and `train_beats` learn from them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence


class Cuts:
    """Where examples lie that stand one after the other, and stretches of them."""

    def __init__(self, sizes: Sequence[int], cut: int, device: str) -> None:
        self.sizes, self.cut, self.device = np.array(sizes), cut, device
        self.starts = np.concatenate(([0], np.cumsum(self.sizes)))
        most = np.minimum(self.sizes, 1.5 * cut)
        self.odds = most / most.sum()

    def drawn(self, rng: np.random.Generator, size: int) -> tuple[Any, Any]:
        """Return the frames of some stretches, and which of them are there; each (size, cut)."""
        import torch

        which = rng.choice(len(self.sizes), size, p=self.odds)
        room = np.maximum(self.sizes[which] - self.cut, 0)
        shift = (rng.random(size) * (room + 1)).astype(int)
        # often at the very start, where there is less to go by
        shift = np.where(rng.random(size) < 0.15, 0, shift)
        length = np.minimum(self.sizes[which] - shift, self.cut)
        at = torch.from_numpy(self.starts[which] + shift).to(self.device)
        inside = torch.arange(self.cut, device=self.device)[None]
        mask = inside < torch.from_numpy(length).to(self.device)[:, None]
        return torch.where(mask, at[:, None] + inside, at[:, None]), mask

    def turned(self, rng: np.random.Generator, frames: Any, firsts: Sequence[int]) -> Any:
        """Return each stretch in another key, by chance: columns of pitch classes begin at ``firsts``."""
        import torch

        size, cut, channels = frames.shape
        turn = torch.from_numpy(rng.integers(0, 12, size)).to(self.device)
        order = torch.arange(channels, device=self.device).repeat(size, 1)
        classes = (torch.arange(12, device=self.device)[None] + turn[:, None]) % 12
        for first in firsts:
            order[:, first : first + 12] = first + classes
        return torch.gather(frames, 2, order[:, None].expand(-1, cut, -1))
