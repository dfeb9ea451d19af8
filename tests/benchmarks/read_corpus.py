"""Read every piece of music21's corpus; count what is read, refused, slow, or breaks.

    python tests/benchmarks/read_corpus.py [--every N]

Each piece runs under `arranger.song.read_song` alone, in its reading process and within its limits.
A traceback is a defect. Times are by the clock.
"""

from __future__ import annotations

import argparse
import time
import traceback
from collections import Counter

from music21 import corpus

from arranger.errors import ArrangerError
from arranger.song import read_song


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--every", type=int, default=1, help="read only every Nth piece")
    asked = parser.parse_args()
    paths = sorted(corpus.getPaths())[:: asked.every]
    outcomes: Counter[tuple[str, str]] = Counter()
    seconds: Counter[str] = Counter()
    remarks: Counter[str] = Counter()
    slowest: list[tuple[float, str]] = []
    for path in paths:
        start = time.monotonic()
        try:
            song = read_song(path)
            outcome = "read" if song.notes else "no notes"
            remarks.update(remark.lstrip("0123456789 ") for remark in song.remarks)
        except ArrangerError as error:
            outcome = f"refused: {error.what}"
        except Exception:  # noqa: BLE001 - this is what is looked for
            outcome = "BROKE"
            print(path)
            traceback.print_exc()
        spent = time.monotonic() - start
        outcomes[path.suffix, outcome] += 1
        seconds[path.suffix] += spent
        slowest.append((spent, path.name))
    for (suffix, outcome), count in sorted(outcomes.items()):
        print(f"{suffix:10} {count:5}  {outcome}")
    for suffix, spent in seconds.items():
        print(f"{suffix:10} {spent:7.1f} s")
    for remark, count in remarks.most_common(12):
        print(f"{count:5}  {remark}")
    for spent, name in sorted(slowest, reverse=True)[:5]:
        print(f"{spent:7.1f} s  {name}")


if __name__ == "__main__":
    main()
