"""What is left of a songbook's run that is killed at any moment, and of an index that is damaged.

    python -m tests.benchmarks.songbook_kills FOLDER [--kills 40] [--songs 12] [--damages 500] [--seed 1]

1. Songs of FOLDER are converted undisturbed. Then, a number of times: a run into an empty folder;
   after a random time KILL, TERM or INT for the run, its whole group, or some of its workers; then the
   same run again to its end, and once more, as the overview tells what each run did. Goal: the same
   bytes as undisturbed, no temporary file, no process that lives on (each has 20 seconds to end, on a
   busy machine; the slowest is told), no traceback.
2. The index of a book with an edited sheet is damaged at random (bytes, a cut, changes by SQL), then
   the book is converted again. Goal: no traceback, the edit is there, the records are the right ones,
   and the run after that is quiet. To convert 500 times in bearable time the songs are tiny.

Prints one line a kind and the sums; ends with exit code 1 when a goal is missed. Linux only.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections import Counter
from contextlib import closing
from pathlib import Path

from tests.songbook.runs import (
    choice,
    command,
    edit,
    environment,
    is_running,
    plain,
    temporaries,
    tree,
    workers_of,
)
from tests.songbook.songs import write_book

ENDS_WITHIN_SECONDS = 20.0
SIGNALS = (signal.SIGKILL, signal.SIGTERM, signal.SIGINT)
VICTIMS = ("run", "group", "worker", "workers")


def content(out: Path) -> dict[str, bytes]:
    """Return what a run wrote, without the versions before (``NAME~``) of the overview."""
    return {name: data for name, data in tree(out).items() if not name.endswith("~")}


def finished(songs: Path, out: Path) -> tuple[int, str]:
    """Run to the end; return the exit code and what was said to standard error."""
    done = subprocess.run(
        command(songs, out, "--workers", "2"),
        env=environment(), capture_output=True, text=True, check=False, timeout=600,
    )  # fmt: skip
    return done.returncode, done.stderr


def struck(
    songs: Path, out: Path, chance: random.Random, longest: float
) -> tuple[str, list[str], float]:
    """Run, kill at a random moment; return whom with what, what is wrong, the last worker's end."""
    whom, number = chance.choice(VICTIMS), chance.choice(SIGNALS)
    with tempfile.TemporaryFile("w+") as said:
        process = subprocess.Popen(
            command(songs, out, "--workers", "2"), env=environment(),
            stdout=said, stderr=said, start_new_session=True,
        )  # fmt: skip
        time.sleep(chance.uniform(0, longest))
        workers = workers_of(process.pid)
        if whom == "group":
            os.killpg(process.pid, number)
        elif whom == "run" or not workers:
            process.send_signal(number)
        else:
            for worker in workers if whom == "workers" else workers[:1]:
                if is_running(worker):
                    os.kill(worker, number)
        process.wait(600)
        ended = time.monotonic()
        while any(map(is_running, workers)) and time.monotonic() < ended + ENDS_WITHIN_SECONDS:
            time.sleep(0.02)
        later = time.monotonic() - ended
        said.seek(0)
        text = said.read()
    wrong = [f"lives on: {pid}" for pid in workers if is_running(pid)]
    if "Traceback" in text:
        wrong.append(f"traceback: {text.strip().splitlines()[-1]}")
    if process.returncode >= 0 and temporaries(out):
        wrong.append("a run that ended by itself left temporaries")
    return f"{number.name} for {whom}", wrong, later


def kills_table(songs: Path, base: Path, kills: int, chance: random.Random) -> int:
    """Kill and go on, print a line a kind; return how many times a goal was missed."""
    started = time.monotonic()
    finished(songs, base / "clean")
    longest = 1.1 * (time.monotonic() - started)
    finished(songs, base / "clean")
    clean = content(base / "clean")
    print(f"undisturbed: {longest / 1.1:.1f} s, {len(clean)} files")
    kinds: Counter[str] = Counter()
    missed = 0
    slowest = 0.0
    for _ in range(kills):
        out = base / "struck"
        kind, wrong, later = struck(songs, out, chance, longest)
        slowest = max(slowest, later)
        code, said = finished(songs, out)
        if code != 0 or "Traceback" in said:
            wrong.append(f"the next run: exit code {code}, {said.strip().splitlines()[-1:]}")
        finished(songs, out)
        now = content(out)
        wrong += [
            f"differs: {name}" for name in {**clean, **now} if clean.get(name) != now.get(name)
        ]
        wrong += [f"left: {path.name}" for path in temporaries(out)]
        kinds[kind] += 1
        missed += bool(wrong)
        for what in wrong:
            print(f"  {kind}: {what}")
        shutil.rmtree(out)
    for kind, count in sorted(kinds.items()):
        print(f"{count:>4} x {kind}")
    print(f"{kills} kills, then resumed: {missed} with anything wrong")
    print(f"the slowest worker ended {slowest:.1f} s after its run")
    return missed


def damaged(path: Path, chance: random.Random) -> str:
    """Damage an index in a random way; return the kind."""
    kind = chance.choice(("bytes", "cut", "sql"))
    if kind == "bytes":
        data = bytearray(path.read_bytes())
        for _ in range(chance.choice((1, 3, 30))):
            data[chance.randrange(len(data))] = chance.randrange(256)
        path.write_bytes(data)
    elif kind == "cut":
        os.truncate(path, chance.randrange(path.stat().st_size))
    else:
        column = chance.choice(("relative", "key", "sizes", "record", "digest"))
        value = chance.choice(
            ("NULL", "7", "-1.5", "x'00ff'", "'text'", "'[]'", "'{}'", f"substr({column}, 3)",
             f"{column} || '!'", f"replace({column}, '1', '2')", "zeroblob(9)")
        )  # fmt: skip
        statement = chance.choice(
            (f"UPDATE OR REPLACE songs SET {column} = {value} WHERE rowid_like",
             f"UPDATE OR REPLACE songs SET {column} = {value}",
             "DELETE FROM songs WHERE rowid_like", "DROP TABLE songs",
             "ALTER TABLE songs ADD COLUMN more", "PRAGMA user_version = 77",
             f"ALTER TABLE songs RENAME COLUMN {column} TO other")
        ).replace("rowid_like", "relative LIKE '%song000%'")  # fmt: skip
        with closing(sqlite3.connect(path, isolation_level=None)) as connection:
            try:
                connection.execute(statement)
            except sqlite3.IntegrityError:  # a NULL that the table refuses
                kind = "sql, refused"
    return kind


def damages_table(base: Path, damages: int, chance: random.Random) -> int:
    """Damage and convert again; return how many times a goal was missed."""
    from arranger.songbook import convert_book

    write_book(base / "songs", 3, notes=4)
    whole = choice(base, workers=1)
    convert_book(whole)
    sheet = whole.out / "shelf0" / "song000.duet"
    edited = edit(sheet)
    right = plain(convert_book(whole).records)
    kinds: Counter[str] = Counter()
    missed = tracebacks = lost = rebuilt = 0
    for _ in range(damages):
        kinds[damaged(whole.out / "songbook.index", chance)] += 1
        try:
            result = convert_book(whole)
            again = convert_book(whole)
        except Exception as error:  # noqa: BLE001 - that is what is counted
            tracebacks += 1
            print(f"  {type(error).__name__}: {error}")
            continue
        rebuilt += bool(result.remarks)
        lost += sheet.read_text() != edited
        missed += plain(result.records) != right or again.converted != 0 or bool(again.remarks)
    print(", ".join(f"{count} x {kind}" for kind, count in sorted(kinds.items())))
    print(
        f"{damages} damaged indexes: {tracebacks} tracebacks, {lost} edits lost, {missed} with wrong "
        f"records or a second run that was not quiet; {rebuilt} built anew"
    )
    return tracebacks + lost + missed


def main() -> None:
    """Measure and print."""
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("folder", type=Path)
    words.add_argument("--kills", type=int, default=40)
    words.add_argument("--songs", type=int, default=12)
    words.add_argument("--damages", type=int, default=500)
    words.add_argument("--seed", type=int, default=1)
    asked = words.parse_args()
    chance = random.Random(asked.seed)
    missed = 0
    with tempfile.TemporaryDirectory() as place:
        base = Path(place)
        songs = sorted(asked.folder.rglob("*.mid"))
        (base / "band").mkdir()
        for path in chance.sample(songs, min(asked.songs, len(songs))):
            shutil.copy(path, base / "band")
        if asked.kills:
            missed += kills_table(base / "band", base, asked.kills, chance)
        if asked.damages:
            missed += damages_table(base / "damage", asked.damages, chance)
    sys.exit(1 if missed else 0)


if __name__ == "__main__":
    main()
