"""Fuzz the command line: mutated sheets, damaged ledgers and random arguments, in one process.

    python -m tests.benchmarks.fuzz_cli --sheets 5000 --ledgers 500 --arguments 2000 --seed 1

Every mutated sheet is checked, tidied, compared, spread, reported and edited by bars, exported in one format, a bar of it
rendered, all that is undone and redone, now and then after the history was damaged, and now and then it is explained; every
damaged ledger is asked with all options. Commands run as
users get them (`arranger.cli.app.run`). Counted: exit codes, tracebacks (what the last resort would
call a defect), text that isn't harmless, exit codes that weren't promised; measured: the slowest
command and the most memory that the process had. Goal: no traceback. Files that broke a command are
kept in the folder ``broke``.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import os
import resource
import shutil
import sys
import tempfile
import time
import traceback
from collections import Counter
from copy import deepcopy
from pathlib import Path
from random import Random
from typing import Any

from arranger.cli.app import run
from arranger.machine.exporters import EXPORTERS
from arranger.options import OPTIONS
from arranger.reduce.reasons import OUTCOMES, REASONS

ROOT = Path(__file__).parents[2]

WORDS = (
    "", "-", ".", "--", "0", "-1", "1", "7", "16", "99999", "999999999", "1e999", "nan", "1/0",
    "0/4", "4/4", "1/999999", "3/7", "loop", "loop 0", "steps", "9999 steps", "10000 steps", "bar",
    "bar 1 4/4", "voice 1", "voice 3", "drums", "kick", "snare", "C4", "C-1", "G9", "Cbb4", "H4",
    "twin-phase", "twin-counter", "pc-alternate", "own.toml", "../x.toml", '"\\u{0}"',
    '"\\u{dcff}.toml"', '"\\u{10ffff}"', '"a\\"', "title", "engine", "step 1/3 beat", "length 1",
    "length 999999999", "tempo nan", "generated", "generated header", "\x00", "\x1b[31m", "\u202e",
    "é", "#", "|", "settings --step 1/4", "settings --cost foo=1", "settings '",
    "settings --max-bytes 100", "settings --engine nope", "source two_gulls.mid", "sha256 0",
)  # fmt: skip

CELLS = ("C4", "F#3", "Bb2", "G5", "-", ".", "---", "C6", "A1")

VALUES: tuple[Any, ...] = (
    None, True, False, 0, -1, 10**30, 1.5, float("nan"), float("inf"), -float("inf"), "", "x",
    "\x1b[31m", "\udcff", [], {}, [None], [[]], {"a": 1}, "kept", "dropped", [1, "x"],
)  # fmt: skip


class Tally:
    """What came of the commands."""

    def __init__(self) -> None:
        self.codes: Counter[str] = Counter()
        self.broken: Counter[str] = Counter()
        self.slowest = (0.0, "")

    def command(self, words: list[str], keep: Path | None = None) -> None:
        out, err = io.StringIO(), io.StringIO()
        begun = time.process_time()
        fault = ""
        code: object = None
        try:
            with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
                code = run(words)
        except SystemExit as stopped:
            code = stopped.code
        except Exception as error:  # noqa: BLE001 - this is what is looked for
            place = traceback.extract_tb(error.__traceback__)[-1]
            fault = f"{type(error).__name__} at {Path(place.filename).name}:{place.lineno}: {error}"
        spent = time.process_time() - begun
        told = f"{out.getvalue()}\n{err.getvalue()}"
        if not fault and code not in {0, 1, 2}:
            fault = f"exit code {code}"
        if not fault and not all(line.isprintable() for line in told.split("\n")):
            fault = "harmful text"
        if (
            not fault
            and code in {1, 2}
            and not err.getvalue()
            and words[0] not in {"check", "tidy"}
        ):
            fault = "nothing said"
        self.codes[f"{words[0] if words else ''} {code}"] += 1
        if spent > self.slowest[0]:
            self.slowest = (spent, " ".join(words)[:100])
        if fault:
            first = fault not in self.broken
            self.broken[fault] += 1
            if first:
                print(f"BROKEN {words}: {fault[:200]}", flush=True)
                if keep is not None and keep.is_file():
                    target = ROOT / "broke"
                    target.mkdir(exist_ok=True)
                    shutil.copy(keep, target / f"{len(self.broken)}{keep.suffix}")


BAR_EDITS = (
    "copy {0} --to 3", "copy 1-{0} --to end --as", "copy {0} --to 2 --over", "copy 1 --to {0} --row drums",
    "insert 2 --to {0} --metre 7/8", "delete {0}", "move {0} --to 1", "transpose 1-{0} --by 5",
    "octave {0} up --no-fold", "swap {0},2", "clear {0} --row voice1", "fill {0} kick..hat", "delete A",
)  # fmt: skip

UNDOS = ("", "", "--steps 2", "--to 1", "--to 99", "--list", "--json", "--list --to 1")


def mutated(rng: Random, text: str) -> str:
    lines = text.split("\n")
    if rng.random() < 0.5:  # half of them only as a hand would, so that most can be played
        rows = [at for at, line in enumerate(lines) if line.startswith("  ")]
        for at in rng.choices(rows, k=rng.choice((1, 3, 9))):
            cells = lines[at].split(" ")
            chosen = rng.choice([n for n, cell in enumerate(cells) if n > 4 and cell] or [0])
            cells[chosen] = rng.choice(["kick", "snare", "."] if "drums" in lines[at] else CELLS)
            lines[at] = " ".join(cells)
        if rng.random() < 0.7:
            return "\n".join(lines)
    for _ in range(rng.choice((1, 1, 1, 2, 8))):
        at = rng.randrange(len(lines))
        kind = rng.randrange(9)
        if kind == 0:
            del lines[at]
        elif kind == 1:
            lines.insert(at, rng.choice(lines or [""]))
        elif kind == 2:
            lines.insert(at, rng.choice(WORDS))
        elif kind == 3:
            lines[at] = lines[at][: rng.randrange(len(lines[at]) + 1)]
        elif kind == 4:
            del lines[at : at + rng.randrange(1, 40)]
        elif kind == 5 and lines[at]:
            place = rng.randrange(len(lines[at]))
            lines[at] = f"{lines[at][:place]}{chr(rng.randrange(0x300))}{lines[at][place + 1 :]}"
        else:
            words = lines[at].split(" ")
            words[rng.randrange(len(words))] = rng.choice(WORDS)
            lines[at] = " ".join(words)
        lines = lines or [""]
    return "\n".join(lines)


def damaged_bytes(rng: Random, content: bytes) -> bytes:
    data = bytearray(content)
    for _ in range(rng.choice((1, 3, 10))):
        data[rng.randrange(len(data))] = rng.randrange(256)
    return bytes(data[: rng.randrange(len(data))] if rng.random() < 0.2 else data)


def damage(rng: Random, path: Path) -> None:
    if path.is_file():
        path.write_bytes(damaged_bytes(rng, path.read_bytes()))


def damaged_ledger(rng: Random, content: bytes) -> bytes:
    if rng.random() < 0.2:
        return damaged_bytes(rng, content)
    ledger = json.loads(content)
    for _ in range(rng.choice((1, 1, 2, 5))):
        place: Any = ledger
        while True:
            keys = list(place) if isinstance(place, dict) else list(range(len(place)))
            if not keys:
                break
            key = rng.choice(keys)
            if isinstance(place[key], dict | list) and rng.random() < 0.85:
                place = place[key]
                continue
            if rng.random() < 0.2:
                del place[key]
            else:
                place[key] = deepcopy(rng.choice(VALUES))
            break
    return json.dumps(ledger).encode("utf-8", "surrogatepass")


def sheets(rng: Random, tally: Tally, count: int, seeds: list[Path]) -> None:
    for index in range(count):
        seed = rng.choice(seeds)
        path = Path("fuzzed.duet")
        text = seed.read_text(encoding="utf-8")
        if rng.random() < 0.1:
            path.write_bytes(damaged_bytes(rng, text.encode()))
        else:
            path.write_text(mutated(rng, text), encoding="utf-8", errors="replace", newline="")
        shutil.copy(seed.with_suffix(".ledger.json"), "fuzzed.ledger.json")
        bar = str(rng.randrange(14))
        commands = [
            ["check", "fuzzed.duet", *rng.choice(([], ["--json"]))],
            ["compare", *rng.sample([str(seed), "fuzzed.duet"], 2), *rng.choice(([], ["--json"]))],
            ["export", "fuzzed.duet", "--as", rng.choice(list(EXPORTERS)), "-o", "exported"],
            ["render", "fuzzed.duet", "--bars", bar, "--rate", "22050", "-o", "heard.wav"],
            ["tidy", "fuzzed.duet", *rng.choice(([], ["--check"]))],
            ["spread", "fuzzed.duet", *rng.choice(([], ["--check"]))],
            ["report", "fuzzed.duet", *rng.choice(([], ["--json"]))],
            ["bars", "fuzzed.duet", *rng.choice(BAR_EDITS).format(bar).split()],
        ]
        commands += [["undo", "fuzzed.duet", *words.split()] for words in rng.sample(UNDOS, 2)]
        commands.append(["redo", "fuzzed.duet", *rng.choice(([], ["--steps", bar]))])
        if index % 10 == 0:
            commands.append(["explain", "fuzzed.duet", bar, "--song", "two_gulls.mid"])
        for words in commands:
            if words[0] == "undo" and rng.random() < 0.1:
                damage(rng, Path("fuzzed.duet.history"))
            tally.command(words, path)
        if (index + 1) % 100 == 0 or index + 1 == count:
            print(f"{index + 1} sheets, {sum(tally.broken.values())} broken promises", flush=True)


def ledgers(rng: Random, tally: Tally, count: int, seeds: list[Path]) -> None:
    for _ in range(count):
        seed = rng.choice(seeds)
        path = Path("fuzzed.ledger.json")
        path.write_bytes(damaged_ledger(rng, seed.with_suffix(".ledger.json").read_bytes()))
        shutil.copy(seed, "fuzzed.duet")
        for more in (
            [],
            ["--bars", "2-4"],
            ["--outcome", rng.choice(list(OUTCOMES))],
            ["--reason", rng.choice(list(REASONS))],
            ["--part", rng.choice(["1", "2", "hand", "x", "\x1b"])],
        ):
            tally.command(["report", str(path), *more, *rng.choice(([], ["--json"]))], path)
        tally.command(["compare", str(seed), "fuzzed.duet"], path)


def arguments(rng: Random, tally: Tally, count: int) -> None:
    names = [
        "two_gulls.mid",
        "two_gulls.duet",
        "two_gulls.ledger.json",
        "nowhere",
        "new.duet",
        "",
        ".",
        "own.toml",
    ]
    own = ["--json", "--check", "-o", "--as", "--bars", "--rate", "--speaker", "--split", "--loop",
           "--address", "--most", "--song", "--part", "--outcome", "--reason", "--like", "--force",
           "--keep-edits", "--to", "--over", "--times", "--by", "--row", "--metre", "--tempo", "--pickup", "--title", "--audio", "--no-audio", "--no-suggestions", "--steps", "--list",
           "--help"]  # fmt: skip
    options = own + [f"--{option.name}" for option in OPTIONS]
    values = [*WORDS, *names, "wav", "out", "A=broken-chord", "leap=0.5", "gap=5", "auto", "none",
              "track", "1/4", "6/8", "0", "140", "twin-counter", "5-2", "2-5", "\udcff", "a" * 300, "x\ny"]  # fmt: skip
    commands = ["convert", "survey", "engines", "export", "explain", "report", "render", "check",
                "compare", "tidy", "spread", "bars", "new", "undo", "redo", "nope"]  # fmt: skip
    for _ in range(count):
        for name in names[:3]:
            shutil.copy(Path("seeds") / name, name)
        words = [rng.choice(commands), rng.choice(names)]
        for _ in range(rng.randrange(4)):
            words.append(rng.choice(options if rng.random() < 0.7 else values))
            if rng.random() < 0.8:
                words.append(rng.choice(values))
        tally.command(words)


def prepared() -> list[Path]:
    """Return sheets to begin with, made here; their ledgers lie beside them."""
    shutil.copy(ROOT / "demo_songs" / "two_gulls.mid", "two_gulls.mid")
    found = []
    for name, words in {
        "two_gulls": [],
        "coarse": ["--engine", "twin-counter", "--step", "1/4", "--loop", "3"],
        "timer": ["--engine", "pc-alternate", "--texture", "broken-chord"],
        "small": ["--max-bytes", "200", "--transpose", "auto"],
    }.items():
        with contextlib.redirect_stdout(io.StringIO()):
            code = run(
                ["convert", "two_gulls.mid", "--no-audio", "--no-suggestions", "-o", name, *words]
            )
        if code:
            sys.exit("a sheet to begin with couldn't be made")
        found.append(Path(name) / "two_gulls.duet")
    folder = Path("seeds")
    folder.mkdir()
    for name in ("two_gulls.duet", "two_gulls.ledger.json"):
        shutil.copy(Path("two_gulls") / name, folder / name)
    shutil.copy("two_gulls.mid", folder)
    with contextlib.redirect_stdout(io.StringIO()):
        run(["engines", "new", "own.toml"])
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sheets", type=int, default=5000)
    parser.add_argument("--ledgers", type=int, default=500)
    parser.add_argument("--arguments", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    os.environ["ARRANGER_DEBUG"] = "1"  # a defect is raised, not told in a line
    rng, tally = Random(asked.seed), Tally()
    with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder):
        seeds = prepared()
        ledgers(rng, tally, asked.ledgers, seeds)
        print(f"{asked.ledgers} ledgers: {sum(tally.codes.values())} commands", flush=True)
        arguments(rng, tally, asked.arguments)
        print(f"{asked.arguments} lines of arguments", flush=True)
        sheets(rng, tally, asked.sheets, seeds)
    print(", ".join(f"{what}: {count}" for what, count in sorted(tally.codes.items())))
    print(f"slowest {tally.slowest[0]:.2f} s of processor time: {tally.slowest[1]}")
    print(f"most memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")
    for fault, count in tally.broken.most_common():
        print(f"{count:>6} {fault[:300]}")
    print(f"{sum(tally.broken.values())} broken promises")


if __name__ == "__main__":
    main()
