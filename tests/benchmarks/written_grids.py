"""Look at the steps chosen for written scores: ``python -m tests.benchmarks.written_grids COUNT``.

Takes COUNT scores of music21's corpus, exactly as written, and counts: notes that collide although
another step would keep them apart, and whether that is said; compound metres and triplets without a
triple step; files taken for played ones.
"""

from __future__ import annotations

import sys
from collections import Counter
from fractions import Fraction

from arranger.engine import load_engine
from arranger.grid import plan_grid
from tests.benchmarks.corpora import scores
from tests.grid.songs import song_of

ENGINE = load_engine("twin-phase")


def main(count: int) -> None:
    steps: Counter[str] = Counter()
    faults: Counter[str] = Counter()
    seen = 0
    for score in scores(count, seed=7):
        seen += 1
        grid = plan_grid(song_of(*score.parts, metres=((0, *score.metre),)), ENGINE)
        steps[str(grid.step_beats)] += 1
        best = grid.alternatives[0]
        fewest = min(choice.collided for choice in grid.alternatives)
        said = any("same step" in remark for remark in grid.remarks)
        onsets = [onset for part in score.parts for onset, _, _ in part]
        thirds = sum(
            abs(onset * 3 - round(onset * 3)) < 0.01 < abs(onset * 8 - round(onset * 8))
            for onset in onsets
        )
        compound = score.metre[1] >= 8 and score.metre[0] % 3 == 0
        found = {
            "taken for played": grid.basis != "file",
            "collides, said": best.collided > fewest and said,
            "collides, NOT said": best.collided > fewest and not said,
            "compound without triple step": compound and grid.step_beats > Fraction(1, 2),
            "triplets without triple step": thirds > 0.05 * len(onsets)
            and grid.step_beats.denominator % 3 != 0,
        }
        for fault, is_so in found.items():
            if is_so:
                faults[fault] += 1
                print(f"{score.name}: {fault}; step {grid.step_beats}")
    print(f"{seen} scores; steps {dict(steps)}; {dict(faults) or 'no faults'}")


if __name__ == "__main__":
    main(int(sys.argv[1]))
