"""Damage scores, thousands of them, and read what comes out.

    python -m tests.benchmarks.fuzz_scores --count 5000 --seed 1 [--seconds 20] [--megabytes 1000]

Seeds are small scores in every notation format, and the smallest of music21's corpus in each; half of
the damage is to bytes, half swaps numbers and lines about, which more often stays readable. Each is
read as by the program, in a process of its own with limits of time and memory, which goes on to the
next. Goal: no traceback, no broken law, nothing past its limits. Reported: outcomes, the slowest,
the most memory that any process had.
"""

from __future__ import annotations

import argparse
import re
import resource
import time
import traceback
from collections import Counter
from pathlib import Path
from random import Random

from music21 import corpus

from arranger.errors import ArrangerError
from arranger.settings import ReadSettings
from arranger.song import read_song_bytes
from tests.song.mutations import mutated
from tests.song.test_mutations import check_laws
from tests.song.test_scores import COLLECTION, HEAD, bar, musicxml, tone, zipped

KEPT = Path("broke.score")
SUFFIXES = (".abc", ".krn", ".mxl", ".xml", ".musicxml", ".mei")
NUMBER = re.compile(rb"\d+")
HOSTILE = (b"0", b"-1", b"1e9", b"99999", b"100000000", b"1/0", b"x", b"")


def seeds() -> list[bytes]:
    repeat = '<barline location="right"><repeat direction="backward"/></barline>'
    two_bars = musicxml(bar(1, tone("C", 4, 6), extra=repeat) + bar(2, tone("D", 4, 6)))
    own = [
        two_bars,
        zipped(two_bars),
        COLLECTION,
        f"{HEAD}|:CDEF|[CEG]2 (3cde|1 A,3-A:|2 z4::GGGG:|\n".encode(),
        b"**kern\t**kern\n*M2/4\t*M2/4\n=1\t=1\n4C\t8cc\n.\t8dd\n4G\t4ee\n==\t==\n*-\t*-\n",
    ]
    for suffix in SUFFIXES:
        files = (path for path in corpus.getPaths() if path.suffix == suffix)
        own += [
            path.read_bytes() for path in sorted(files, key=lambda p: (p.stat().st_size, p))[:6]
        ]
    return own


def swapped(data: bytes, random: Random) -> bytes:
    """Return the text with some numbers changed and lines moved."""
    for _ in range(random.choice((1, 1, 2, 5))):
        numbers = list(NUMBER.finditer(data))
        if numbers and random.random() < 0.7:
            place = random.choice(numbers)
            data = data[: place.start()] + random.choice(HOSTILE) + data[place.end() :]
        else:
            lines = data.split(b"\n")
            lines.insert(random.randrange(len(lines) + 1), random.choice(lines))
            del lines[random.randrange(len(lines))]
            data = b"\n".join(lines)
    return data


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=5000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=20)
    parser.add_argument("--megabytes", type=int, default=1000)
    asked = parser.parse_args()
    limits = ReadSettings(score_seconds=asked.seconds, score_megabytes=asked.megabytes)
    random = Random(asked.seed)
    whole = seeds()
    outcomes: Counter[str] = Counter()
    refusals: Counter[str] = Counter()
    slowest = 0.0
    for number in range(asked.count):
        data = random.choice((mutated, swapped))(random.choice(whole), random)
        start = time.monotonic()
        try:
            song = read_song_bytes(data, "fuzz.score", limits)
            outcome = "read" if song.notes else "read, no notes"
            check_laws(song)
        except ArrangerError as error:
            outcome = type(error).__name__
            refusals[re.sub(r"\d[\d,.]*", "N", error.what)[:70]] += 1
        except Exception:  # noqa: BLE001 - this is what is looked for
            outcome = "BROKE"
            KEPT.with_suffix(f".{number}").write_bytes(data)
            traceback.print_exc()
        outcomes[outcome] += 1
        slowest = max(slowest, time.monotonic() - start)
    print(f"{asked.count} scores from {len(whole)} seeds: {dict(outcomes)}")
    for what, count in refusals.most_common(20):
        print(f"{count:6}  {what}")
    own, workers = (
        resource.getrusage(who).ru_maxrss // 1024
        for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    )
    print(
        f"slowest {slowest:.1f} s; most memory {own} MB here, {workers} MB in a process that read"
    )


if __name__ == "__main__":
    main()
