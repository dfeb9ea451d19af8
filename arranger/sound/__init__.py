"""The exact one-bit signal and the audio made from it."""

from arranger.sound.files import FORMATS, render, samples
from arranger.sound.signal import edges
from arranger.sound.speaker import SPEAKERS

__all__ = ["FORMATS", "SPEAKERS", "edges", "render", "samples"]
