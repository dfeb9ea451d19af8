"""Audio files: a sheet becomes WAV, FLAC or OGG, block by block, whole or not at all.

WAV and FLAC hold 16-bit samples, OGG holds Vorbis. The peak is -12 dBFS: full-scale square waves
are harsh to ears and speakers.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from arranger.errors import OutputError, UsageError, did_you_mean
from arranger.files import replacing, shown_target, writes_through
from arranger.sheet.played import step_length
from arranger.sound.audio import raw_samples
from arranger.sound.speaker import SPEAKERS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from numpy.typing import NDArray

    from arranger.engine.model import Engine
    from arranger.sheet.model import Sheet

    Samples = NDArray[np.float32]
    Progress = Callable[[int, int], None]

FORMATS = {".wav": ("WAV", "PCM_16"), ".flac": ("FLAC", "PCM_16"), ".ogg": ("OGG", "VORBIS")}
"""Container and coding by file name suffix, in libsndfile's terms."""

_FULL_SCALE_16 = 32_768

LOWEST_RATE, HIGHEST_RATE = 22_050, 192_000
_FRAMES_A_WRITE = 65_536
"""libsndfile's Vorbis encoder takes its stack from the size of a write."""


def samples(
    sheet: Sheet,
    engine: Engine,
    *,
    sample_rate: int = 44_100,
    speaker: str = "raw",
    split: bool = False,
) -> Iterator[Samples]:
    """Yield the sound of a sheet in blocks of float32 samples, once through.

    Parameters
    ----------
    sheet, engine
        What to play, and on what.
    sample_rate
        Samples a second, 22,050 to 192,000.
    speaker
        A name in `arranger.sound.speaker.SPEAKERS`.
    split
        Voice 1 left, voice 2 right, for study: blocks of shape (n, 2) in place of (n,).

    Raises
    ------
    UsageError
        If the rate or the speaker isn't there to be had.
    SheetError
        If the engine can't play the sheet.
    """
    if not LOWEST_RATE <= sample_rate <= HIGHEST_RATE:
        raise UsageError(
            f"a sample rate of {sample_rate} can't be had",
            remedy=f"choose {LOWEST_RATE} to {HIGHEST_RATE} samples a second",
        )
    if speaker not in SPEAKERS:
        hint = did_you_mean(speaker, SPEAKERS, f"choose one of {', '.join(SPEAKERS)}")
        raise UsageError(f"there is no speaker {speaker!r}", remedy=hint)
    blocks = raw_samples(sheet, engine, sample_rate, split=split)
    model = SPEAKERS[speaker]
    return blocks if model is None else model.play(blocks, sample_rate)


def _as_16_bits(block: Samples) -> NDArray[np.int16]:
    """Return samples rounded to 16 bits; quicker than libsndfile's own conversion, and nearer."""
    scaled = block * np.float32(_FULL_SCALE_16)
    stored: NDArray[np.int16] = np.rint(scaled, out=scaled).astype(np.int16)
    return stored


def render(
    sheet: Sheet,
    engine: Engine,
    path: str | Path,
    *,
    sample_rate: int = 44_100,
    speaker: str = "raw",
    split: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> None:
    """Write what the hardware plays as an audio file; the format follows the file name.

    Parameters
    ----------
    sheet, engine
        What to play, and on what.
    path
        A name that ends in .wav, .flac or .ogg; standard output, a device or a pipe of another name
        gets WAV.
    sample_rate, speaker, split
        See `samples`.
    progress
        Called after each block with the frames written so far and the frames to come in all.

    Raises
    ------
    OutputError
        If the format isn't known or the file can't be written.
    UsageError, SheetError
        See `samples`.
    """
    path = Path(path)
    suffix = path.suffix.lower()
    if suffix not in FORMATS and writes_through(path):
        suffix = ".wav"
    if suffix not in FORMATS:
        raise OutputError(
            f"{path.suffix or 'no suffix'} is no audio format that can be written",
            file=path,
            remedy=f"name it {', '.join(FORMATS)}",
        )
    import soundfile

    container, coding = FORMATS[suffix]
    cycles = sheet.steps * step_length(sheet, engine).cycles
    total = cycles * sample_rate // engine.clock_hz
    done = 0
    blocks = samples(sheet, engine, sample_rate=sample_rate, speaker=speaker, split=split)
    try:
        with (
            replacing(path) as file,
            soundfile.SoundFile(
                file.fileno(),
                "w",
                sample_rate,
                2 if split else 1,
                coding,
                format=container,
                closefd=False,
            ) as sink,
        ):
            for block in blocks:
                stored = _as_16_bits(block) if coding == "PCM_16" else block
                for start in range(0, len(stored), _FRAMES_A_WRITE):
                    sink.write(stored[start : start + _FRAMES_A_WRITE])
                done += len(block)
                if progress is not None:
                    progress(min(done, total), total)
    except soundfile.SoundFileError as error:
        raise OutputError(
            f"can't be written: {error}",
            file=shown_target(path),
            remedy="choose another name or rate",
        ) from error
