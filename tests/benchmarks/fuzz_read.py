"""Fuzz the reader: seeded mutations, or coverage-guided with atheris.

    python tests/benchmarks/fuzz_read.py --count 100000 --seed 1
    python tests/benchmarks/fuzz_read.py --count 5000 --folder demo_songs
    python tests/benchmarks/fuzz_read.py --atheris -- -runs=200000

The first needs nothing more; the second needs atheris (PyPI), which is in no extra of this project.
Seeds are the demo songs and the cases of the tests. Reported: outcomes, the slowest file, and the
most memory that the process had. A traceback ends the run, with the file kept beside.
"""

from __future__ import annotations

import argparse
import resource
import sys
import time
from collections import Counter
from pathlib import Path
from random import Random

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

KEPT = Path("broke.mid")


def seeds() -> list[bytes]:
    from tests.song.test_mutations import seeds as small

    return small() + [path.read_bytes() for path in sorted((ROOT / "demo_songs").glob("*.mid"))]


def read_one(data: bytes) -> str:
    from arranger.errors import ArrangerError
    from arranger.song import read_song_bytes

    try:
        song = read_song_bytes(data, "fuzz.mid")
    except ArrangerError:
        return "refused"
    except BaseException:
        KEPT.write_bytes(data)
        raise
    return "mended" if song.repairs else "read"


def run_mutations(count: int, seed: int, folder: Path | None) -> None:
    from tests.song.mutations import mutations

    whole = seeds() if folder is None else [p.read_bytes() for p in sorted(folder.glob("*.mid"))]

    outcomes: Counter[str] = Counter()
    slowest = 0.0
    total = 0
    for data in mutations(whole, Random(seed), count):
        start = time.process_time()
        outcomes[read_one(data)] += 1
        slowest = max(slowest, time.process_time() - start)
        total += len(data)
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{count} files, {total / 1e6:.0f} MB: {dict(outcomes)}")
    print(f"slowest {slowest:.3f} s of processor time; most memory {memory:.0f} MB; no traceback")


def run_atheris(arguments: list[str]) -> None:
    import atheris

    with atheris.instrument_imports(include=["arranger"]):
        import arranger.song  # noqa: F401
    folder = Path("fuzz-seeds")
    folder.mkdir(exist_ok=True)
    for index, data in enumerate(seeds()):
        (folder / f"seed-{index}.mid").write_bytes(data)
    atheris.Setup([sys.argv[0], str(folder), *arguments], lambda data: read_one(data) and None)
    atheris.Fuzz()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--folder", type=Path, help="damage the .mid files of a folder instead")
    parser.add_argument("--atheris", action="store_true")
    parser.add_argument("rest", nargs="*", help="options of libFuzzer, after --")
    asked = parser.parse_args()
    if asked.atheris:
        run_atheris(asked.rest)
    else:
        run_mutations(asked.count, asked.seed, asked.folder)


if __name__ == "__main__":
    main()
