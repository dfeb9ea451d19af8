"""How large a songbook's page is, how soon it opens, and how soon it answers.

    python -m tests.benchmarks.songbook_page [--songs 10000] [--runs 5] [--keep FILE]

The records are made up, of the size that songs for a whole band have: names of three words, four lines
whose strips vary as those of such songs do (0.8, 0.7, 1.9 and 1.6 bits a column, measured on 56 of
them), doubts on every third. Goals for 10,000 songs: 1.5 MB, open within 1 s in Chromium.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import statistics
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

from playwright.sync_api import sync_playwright

from arranger.songbook.known.converted import LEVELS, NOTHING_ASKED, STRIP_COLUMNS
from arranger.songbook.known.song_record import SongRecord
from arranger.songbook.shown.overview import write_overview

if TYPE_CHECKING:
    from playwright.sync_api import Page

THINGS = (
    "harbour", "lantern", "ferry", "gull", "net", "tide", "mast", "rope", "quay", "buoy", "sail", "oar",
)  # fmt: skip
PIECES = (
    "",
    " song",
    " march",
    " waltz",
    " light",
    " bell",
    " wind",
    " night",
    " morning",
    " dance",
)
WORDS = [f"{thing}{piece}" for thing in THINGS for piece in PIECES]
SPREAD = ((0.04, 1), (0.05, 1), (0.75, 2), (0.5, 2))
"""For each line how often its level changes from a column to the next, and by how much at most."""


def record(number: int, chance: random.Random) -> SongRecord:
    """Return the record of a made-up song."""
    title = " ".join(chance.sample(WORDS, 2))
    place = f"shelf{number // 100:03}/{title.replace(' ', '_')}-{number}"
    heard = tuple(chance.randint(low, 100) for low in (85, 88, 50, 60))
    strips = tuple(strip(chance, *spread) for spread in SPREAD)
    bpm = chance.randint(80, 200)
    doubts = [
        ("metre", "the file doesn't say where bars are; they are taken to be of 4/4"),
        ("parts", f"part {chance.randint(1, 9)} '{chance.choice(WORDS)}' was taken for the tune, but part "
         f"{chance.randint(1, 9)} '{chance.choice(WORDS)}' is nearly as likely"),
    ]  # fmt: skip
    return SongRecord(
        relative=f"{place}.mid",
        place=place,
        state="done",
        title=title,
        engine="twin-phase",
        notes=3900,
        kept=1900,
        dropped=800,
        steps=chance.randint(400, 2000),
        asked_bpm=float(bpm),
        played_bpm=bpm * chance.uniform(0.99, 1.01),
        tune=chance.choice(WORDS),
        bass=chance.choice(WORDS),
        notes_digest=str(number),
        outputs=(f"{place}.duet", f"{place}.report.html"),
        heard=heard,
        lost=chance.randint(10, 150),
        strips=strips,
        seconds=chance.uniform(40, 260),
        song_bytes=chance.randint(500, 4000),
        bytes_limit=32139,
        doubts=tuple(chance.sample(doubts, chance.choice((0, 0, 1)))),
        change=chance.choice(("", "", f"harmony {chance.randint(-9, 9):+}, bytes {number % 90}")),
    )


def strip(chance: random.Random, changes: float, by: int) -> str:
    """Return how much of a line is heard along a made-up song."""
    level, found = LEVELS, []
    for _ in range(STRIP_COLUMNS):
        if chance.random() < changes:
            level = min(max(level + chance.randint(-by, by), 3), LEVELS)
        found.append(NOTHING_ASKED if chance.random() < 0.04 else str(level))
    return "".join(found)


def answered(page: Page, act: str) -> float:
    """Return the milliseconds that an act in the page takes, until the next frame is drawn."""
    took: float = page.evaluate(
        f"""async () => {{
            const start = performance.now();
            {act};
            await new Promise((done) => requestAnimationFrame(() => setTimeout(done)));
            return performance.now() - start;
        }}"""
    )
    return took


def typed(text: str) -> str:
    """Return the script that types into the field that finds."""
    return (
        f"const find = document.getElementById('find'); find.value = '{text}';"
        " find.dispatchEvent(new Event('input'))"
    )


def main() -> None:
    """Measure and print."""
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--songs", type=int, default=10_000)
    words.add_argument("--runs", type=int, default=5)
    words.add_argument("--keep", type=Path)
    asked = words.parse_args()
    chance = random.Random(1)
    records = sorted(
        (record(number, chance) for number in range(asked.songs)), key=lambda each: each.relative
    )
    with tempfile.TemporaryDirectory() as place:
        folder = asked.keep or Path(place)
        started = time.perf_counter()
        paths = write_overview(records, folder)
        print(f"{asked.songs} songs: written in {time.perf_counter() - started:.2f} s")
        for path in paths:
            print(f"{path.name}: {path.stat().st_size / 1e6:.3f} MB")
        measure(paths[2], asked.runs)


def measure(path: Path, runs: int) -> None:
    """Print how soon a page opens and answers."""
    chromium = os.environ.get("CHROMIUM") or shutil.which("chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=chromium, args=["--no-sandbox", "--disable-gpu"]
        )
        opening = []
        for _ in range(runs):
            page = browser.new_page(viewport={"width": 1280, "height": 900})
            started = time.perf_counter()
            page.goto(path.as_uri())
            page.locator("html[data-ready]").wait_for(state="attached")
            opening.append(time.perf_counter() - started)
        print(
            f"open: {statistics.median(opening):.2f} s (median of {runs}), worst {max(opening):.2f} s"
        )
        for what, act in {
            "find": typed("gull"),
            "find all again": typed(""),
            "sort by name": "document.querySelector('[data-sort=song]').click()",
            "sort by bytes": "document.querySelector('[data-sort=bytes]').click()",
            "scroll to the middle": "scrollTo(0, document.body.scrollHeight / 2)",
            "choose": "document.querySelector('#rows .entry').click()",
        }.items():
            took = statistics.median(answered(page, act) for _ in range(3))
            print(f"{what}: {took:.0f} ms")
        rows = page.locator("#rows .entry").count()
        print(f"rows in the page: {rows}")
        browser.close()


if __name__ == "__main__":
    main()
