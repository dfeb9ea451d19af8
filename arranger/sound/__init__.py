"""The exact one-bit signal and the audio made from it.

alternate    One square-wave timer channel that the two voices have in turn
audio        Audio: samples from the pin's changes, without writing the pin out
bandlimit    Band-limited kernels: how the pin's changes sound at a sample rate
audio_files  Audio files: a sheet becomes WAV, FLAC or OGG, block by block, whole or not at all
mixing       Kernels added up, and the sums summed once more: the two loops in which sound takes its time
schedule     What the routine does when: stretches in which the sound loop runs, and drums
signal       The exact one-bit signal: the clock cycles in which the pin changes
speaker      Speaker models: how the pin sounds through a real loudspeaker, roughly

The names below are looked up when they are first used: song data need the schedule alone.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from arranger.lazy import looked_up

if TYPE_CHECKING:
    from arranger.sound.audio_files import FORMATS, render, samples
    from arranger.sound.signal import edges
    from arranger.sound.speaker import SPEAKERS

__all__ = ["FORMATS", "SPEAKERS", "edges", "render", "samples"]

__getattr__ = looked_up(
    __name__,
    {
        "FORMATS": "audio_files",
        "SPEAKERS": "speaker",
        "edges": "signal",
        "render": "audio_files",
        "samples": "audio_files",
    },
)
