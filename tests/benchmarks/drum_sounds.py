"""The drum sounds of an engine, each measured alone, and how much of a held tone a full beat leaves.

    python -m tests.benchmarks.drum_sounds [ENGINE ...]

Of each sound, from the pin's edges: how long it lasts, from its first change of the pin to its last.
From the audio of that time (44.1 kHz, no speaker): the middle of the third of an octave that has most
power, the spectrum's centroid (weighed by power), and the level (RMS) beside that of a tone. What is below
`AUDIBLE_HZ` is left out. Then the share of its time that a tone is heard under kick and snare in turn on the
beats and closed hats on the other eighths; with joint sounds for kick or snare and hat, where the engine
has them, in the second row. Goal: at least 85 % at every tempo.
"""

from __future__ import annotations

import argparse
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np

from arranger import load_engine
from arranger.rows import HOLD, REST
from arranger.sheet.model import Sheet, SheetBar
from arranger.sound import edges, samples

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.columns import Floats
    from arranger.engine.model import Engine, StepLength

RATE = 44_100
TONE = 81
AUDIBLE_HZ = 30.0
STEP_BEATS = Fraction(1, 4)
BARS = 8
TEMPI = (100, 120, 140, 160)


def sheet_of(
    engine: Engine, length: StepLength, drums: Sequence[str | None], tone: int | None = None
) -> Sheet:
    """Return one bar with these drums, and a tone held throughout, or none."""
    silence = (REST,) * len(drums)
    return Sheet(
        title="",
        engine=engine.name,
        step_beats=STEP_BEATS,
        length=length.setting,
        bars=(SheetBar(1, len(drums), 4, 4),),
        voice1=silence if tone is None else (tone,) + (HOLD,) * (len(drums) - 1),
        voice2=silence,
        drums=tuple(drums),
    )


def heard(sheet: Sheet, engine: Engine, *, split: bool = False) -> Floats:
    blocks = list(samples(sheet, engine, sample_rate=RATE, split=split))
    return np.concatenate(blocks).astype(np.float64)


def span(sheet: Sheet, engine: Engine, end: float) -> tuple[float, float]:
    """Return the seconds of the first and the last change of the pin before an end."""
    cycles = np.concatenate([block for block, _ in edges(sheet, engine)]) / engine.clock_hz
    sounding = cycles[cycles < end]
    return float(sounding[0]), float(sounding[-1])


def level(sound: Floats) -> float:
    """Return the RMS level in dB of full scale."""
    return float(10 * np.log10(np.mean(sound**2)))


def spectrum(sound: Floats) -> tuple[float, float]:
    """Return the peak (a third of an octave wide) and the centroid of a sound's power, in Hz."""
    power = np.abs(np.fft.rfft(sound, n=1 << 16)) ** 2
    hertz = np.fft.rfftfreq(1 << 16, 1 / RATE)
    power[hertz < AUDIBLE_HZ] = 0.0
    below = np.append(0.0, np.cumsum(power))
    middles = AUDIBLE_HZ * 2 ** np.arange(1 / 6, np.log2(RATE / 2 / AUDIBLE_HZ) - 1 / 6, 1 / 24)
    low, high = (np.searchsorted(hertz, middles * 2**side) for side in (-1 / 6, 1 / 6))
    peak = middles[np.argmax(below[high] - below[low])]
    return float(peak), float((power * hertz).sum() / power.sum())


def show_sounds(engine: Engine) -> None:
    length = engine.step_lengths[-1]
    tone = level(heard(sheet_of(engine, length, [None], TONE), engine))
    print(f"{engine.name}\n{'':14}{'ms':>8}{'peak Hz':>9}{'centroid':>9}{'dB':>7}")
    for drum in engine.drums:
        if drum == engine.gap:
            continue
        sheet = sheet_of(engine, length, [drum.name, None, None])
        # A drum that takes the whole step may leave the pin high until the next one.
        first, last = span(sheet, engine, length.seconds * 0.999)
        sound = heard(sheet, engine)[int(first * RATE) : int(last * RATE) + 1]
        peak, centroid = spectrum(sound)
        print(f"{drum.name:14}{1000 * (last - first):8.1f}{peak:9.0f}{centroid:9.0f}"
              f"{level(sound) - tone:7.1f}")  # fmt: skip


def kept(engine: Engine, length: StepLength, bar: list[str | None]) -> float:
    """Return the share of a tone's time that is heard under drums.

    The drums sound on both sides and the tone on one, so their difference is the tone alone; the power of
    its slope goes with the time that it sounds (the slope, since the pin's mean level swings after a drum).
    """
    power = []
    for drums in ([None] * len(bar) * BARS, bar * BARS):
        both = heard(sheet_of(engine, length, drums, TONE), engine, split=True)
        power.append((np.diff(both[:, 0] - both[:, 1]) ** 2).sum())
    return float(power[1] / power[0])


def joint(engine: Engine, *names: str) -> str:
    """Return the sound that says all these at once, or the first of them."""
    found = (drum.name for drum in engine.drums if set(drum.joins) == set(names))
    return next(found, names[0])


def show_beat(engine: Engine) -> None:
    names = {
        what: drum.name
        for what, key in (("kick", 36), ("snare", 38), ("hat", 42))
        if (drum := engine.drum_for(key)) is not None
    }
    if len(names) < 3:
        return
    lengths = [engine.nearest_step_length(60 / bpm * float(STEP_BEATS)) for bpm in TEMPI]
    plain = [names["kick"], names["snare"]]
    print(f"{'tone kept':14}" + "".join(f"{bpm:>5} bpm" for bpm in TEMPI))
    for title, on_beats in (
        ("plain", plain),
        ("joint", [joint(engine, name, names["hat"]) for name in plain]),
    ):
        bar = [each for name in on_beats * 2 for each in (name, None, names["hat"], None)]
        shares = [kept(engine, length, bar) for length in lengths]
        print(f"{title:14}" + "".join(f"{100 * share:7.1f} %" for share in shares))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("engines", nargs="*", metavar="ENGINE")
    for name in parser.parse_args().engines or ("twin-phase", "twin-counter", "pc-alternate"):
        engine = load_engine(name)
        show_sounds(engine)
        show_beat(engine)


if __name__ == "__main__":
    main()
