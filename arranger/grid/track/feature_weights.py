"""The weights of small sums of features, by name: ``weights.json``."""

from __future__ import annotations

import json
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

import numpy as np

from arranger.columns import unchanging

if TYPE_CHECKING:
    from arranger.columns import Floats


@cache
def weights_of(kind: str, features: tuple[str, ...]) -> Floats:
    """Return the weights of a kind, in the order of its features."""
    named = _weights()[kind]
    return unchanging(np.array([named[name] for name in features]))


@cache
def _weights() -> dict[str, dict[str, float]]:
    text = files("arranger.grid.track").joinpath("weights.json").read_text(encoding="utf-8")
    found: dict[str, dict[str, float]] = json.loads(text)
    return found
