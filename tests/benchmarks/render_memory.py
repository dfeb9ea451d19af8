"""Peak memory of rendering, for a piece of five minutes and one of an hour.

    python -m tests.benchmarks.render_memory

Each length is rendered in a process of its own; the peak resident size must hardly grow.
"""

from __future__ import annotations

import subprocess
import sys

CHILD = """
import resource, sys, tempfile
from fractions import Fraction
from pathlib import Path
from arranger.engine import load_engine
from arranger.sheet.model import HOLD, Sheet, SheetBar
from arranger.sound import render

engine = load_engine(sys.argv[1])
length = engine.nearest_step_length(0.125)
bars = round(60 * float(sys.argv[2]) / length.seconds / 16)
scale = [60, HOLD, 62, HOLD, 64, HOLD, 65, HOLD, 67, HOLD, 69, HOLD, 71, HOLD, 72, HOLD]
drums = [engine.drums[0].name, *[None] * 3] * 4 if engine.drums else [None] * 16
sheet = Sheet(
    title="Long", engine=engine.name, step_beats=Fraction(1, 4), length=length.setting,
    bars=tuple(SheetBar(n + 1, 16, 4, 4) for n in range(bars)),
    voice1=tuple(scale * bars), voice2=tuple([40, *[HOLD] * 15] * bars), drums=tuple(drums * bars),
)
with tempfile.TemporaryDirectory() as folder:
    render(sheet, engine, Path(folder) / "long.flac")
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


def main() -> None:
    for engine in ("twin-phase", "twin-counter", "pc-alternate"):
        peaks = [
            int(
                subprocess.run(
                    [sys.executable, "-c", CHILD, engine, minutes],
                    check=True, capture_output=True, text=True,
                ).stdout
            )
            for minutes in ("5", "60")
        ]  # fmt: skip
        print(
            f"{engine}: 5 minutes {peaks[0] // 1024} MB, an hour {peaks[1] // 1024} MB, "
            f"ratio {peaks[1] / peaks[0]:.2f}"
        )


if __name__ == "__main__":
    main()
