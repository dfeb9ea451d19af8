"""How often the first suggestion lets more notes be heard, over all songs of some folders.

python -m tests.benchmarks.suggestions FOLDER... [--every N]
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

from arranger.conversion import convert
from arranger.engine import load_engine
from arranger.report import suggestions
from arranger.settings import Settings
from arranger.song import read_song


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--every", type=int, default=1)
    chosen = parser.parse_args()
    engine = load_engine("twin-phase")
    songs = more = less_lost = both = 0
    seconds = 0.0
    gained: list[float] = []
    files = sorted(path for folder in chosen.folders for path in folder.glob("*.mid"))
    for path in files[:: chosen.every]:
        conversion = convert(read_song(path), engine, Settings())
        started = time.process_time()
        found = suggestions(conversion)
        seconds += time.process_time() - started
        songs += 1
        if found:
            first = found[0]
            more += first.heard_more > 0
            less_lost += first.loss_change < 0
            both += first.heard_more > 0 and first.loss_change <= 0
            gained.append(first.heard_more / len(conversion.song.notes))
            print(path.name, len(conversion.song.notes), first.options, first.heard_more,
                  f"{first.loss_change:+.1%}")  # fmt: skip
        else:
            print(path.name, len(conversion.song.notes), "nothing to gain")
    print(f"{songs} songs; first suggestion: {more / songs:.0%} more notes heard, "
          f"{less_lost / songs:.0%} less loss, {both / songs:.0%} both; "
          f"{seconds / songs:.2f} s a song")  # fmt: skip
    if gained:
        middle = sorted(gained)[len(gained) // 2]
        print(f"median gain {middle:.1%} of the notes")


if __name__ == "__main__":
    main()
