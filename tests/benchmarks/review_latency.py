"""From a save in an editor to what the page of `arranger review` shows and plays; and from a lost note to mended.

    python -m tests.benchmarks.review_latency SONG.mid ... [--saves 20]

For each song: it is converted, reviewed in a real Chromium, and saved again and again with another tone
somewhere. The time runs from just before the file is replaced until the page has drawn its first frame
with the new data (the player's next buffer is computed from the same data). Then the path from "which
bar first?" to "heard mended" is walked: clicks counted, each time until the page shows what it should.
"""

from __future__ import annotations

import argparse
import re
import shutil
import statistics
import tempfile
import time
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

from arranger.conversion import convert
from arranger.engine import load_engine
from arranger.settings import Settings
from arranger.sheet import write_sheet
from arranger.song import read_song
from tests.review.served import Served, served

_DRAWN = """(before) => new Promise((done) => {
  const look = () => document.documentElement.dataset.shown === before
    ? requestAnimationFrame(look)
    : requestAnimationFrame(() => done(performance.timeOrigin + performance.now()));
  look();
})"""
_ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"]


def main() -> None:
    """Measure each song."""
    parser = argparse.ArgumentParser()
    parser.add_argument("songs", nargs="+", type=Path)
    parser.add_argument("--saves", type=int, default=20)
    asked = parser.parse_args()
    with sync_playwright() as playwright, tempfile.TemporaryDirectory() as folder:
        found = shutil.which("chromium")
        browser = playwright.chromium.launch(executable_path=found, args=_ARGUMENTS)
        for song in asked.songs:
            source = read_song(song)
            sheet = convert(source, load_engine("twin-phase"), Settings()).sheet
            path = Path(folder) / f"{song.stem}.duet"
            write_sheet(sheet, path)
            with served(path, song.parent) as review:
                page = browser.new_context(viewport={"width": 1280, "height": 900}).new_page()
                page.goto(review.server.address(0))
                page.locator("html[data-ready]").wait_for(state="attached")
                print(f"{song.stem}: {len(source.notes)} notes, {len(sheet.bars)} bars")
                begun = time.process_time()
                tell("save to seen", saves(page, review, asked.saves))
                share = (time.process_time() - begun) / asked.saves
                print(f"  of that the program's processor time: {share:.3f} s a save")
                walk(page, review)
                page.context.close()
        browser.close()


def tell(what: str, seconds: list[float]) -> None:
    """Print median and worst of some times."""
    in_order = sorted(seconds)
    worst = in_order[int(len(in_order) * 0.9)]
    print(
        f"  {what}: median {statistics.median(seconds):.3f} s, "
        f"nine in ten within {worst:.3f} s, longest {in_order[-1]:.3f} s"
    )


def saves(page: Page, review: Served, count: int) -> list[float]:
    """Return how long each save took to be seen."""
    times = []
    for number in range(count):
        time.sleep(0.4)
        text = review.path.read_text()
        lines = text.split("\n")
        rows = [at for at, line in enumerate(lines) if re.match(r"  voice 1 .*[A-G][45]", line)]
        at = rows[number * 7 % len(rows)]
        tone = "E4" if number % 2 else "F4"
        lines[at] = re.sub(r"[A-G][45]", tone, lines[at], count=1)
        if lines[at] == text.split("\n")[at]:
            lines[at] = lines[at].replace(tone, "D4", 1)
        before = page.evaluate("document.documentElement.dataset.shown ?? null")
        aside = review.path.with_suffix(".new")
        aside.write_text("\n".join(lines))
        page.evaluate(f"void (window.drawn = ({_DRAWN})({before!r}))".replace("None", "undefined"))
        begun = time.time()
        aside.replace(review.path)
        times.append(page.evaluate("window.drawn") / 1000 - begun)
    return times


def walk(page: Page, review: Served) -> None:
    """Walk from "which bar first?" to "heard mended", and print clicks and seconds."""
    begun = time.time()
    page.reload()
    page.locator("html[data-ready]").wait_for(state="attached")
    clicks = 0
    page.locator("#mend .go[data-bar]").first.click()
    clicks += 1
    page.locator(".cells").wait_for()
    bar = page.locator(".cells").get_attribute("aria-label")
    opened = time.time()
    page.locator(".lost .go[data-note]").first.click()
    clicks += 1
    page.locator(".lost .take").first.wait_for()
    offered = time.time()
    page.locator(".lost .take").first.click()
    clicks += 1
    page.locator(".told", has_text="taken").wait_for()
    written = time.time()
    page.get_by_role("button", name="Hear it").click()
    clicks += 1
    page.locator("#play", has_text="Pause").wait_for()
    heard = time.time()
    print(
        f"  {bar}, found after {opened - begun:.2f} s; places offered {offered - opened:.2f} s, "
        f"written {written - offered:.2f} s, heard {heard - written:.2f} s later: {clicks} clicks, "
        f"{heard - begun:.2f} s of the program's"
    )


if __name__ == "__main__":
    main()
