"""Page build time, size, opening and scrolling in Chromium for 500, 5,000 and 50,000 notes.

    python tests/benchmarks/report_page.py

Times depend on the machine; the ratio to mido's own parsing of the same file doesn't, much.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections import defaultdict
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import mido
from playwright.sync_api import sync_playwright

sys.path.insert(0, str(Path(__file__).parents[2]))

from arranger.report import html_page, ledger_csv, ledger_json
from tests.browser.conftest import READY, converted, dense_song

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import Page

SCROLLED = 90

FRAMES = """
async () => {
  const scroller = document.getElementById("scroller");
  const room = scroller.scrollWidth - scroller.clientWidth;
  const times = [];
  let last = performance.now();
  for (let frame = 0; frame < SCROLLED; frame += 1) {
    scroller.scrollLeft = Math.min((frame * 40), room);
    await new Promise(requestAnimationFrame);
    const now = performance.now();
    times.push(now - last);
    last = now;
  }
  return times.slice(5).sort((a, b) => a - b);
}
"""


def best_ms(act: Callable[[], object]) -> float:
    """Return the best of five runs, in milliseconds of processor time."""
    found = []
    for _ in range(5):
        started = time.process_time()
        act()
        found.append(1000 * (time.process_time() - started))
    return min(found)


def quantiles(times: list[float]) -> str:
    mean = sum(times) / len(times)
    late = times[int(len(times) * 0.95)]
    return f"{1000 / mean:.0f} frames a second, 95 % within {late:.1f} ms"


def opened(page: Page, path: Path) -> float:
    """Return the milliseconds from the request to the first drawn frame."""
    started = time.perf_counter()
    page.goto(path.as_uri())
    page.locator(READY).wait_for(state="attached")
    page.evaluate("new Promise(requestAnimationFrame)")
    return 1000 * (time.perf_counter() - started)


def measure(notes: int, page: Page, folder: Path) -> None:
    song = folder / f"{notes}.mid"
    dense_song(notes).save(song)
    parse = best_ms(lambda: mido.MidiFile(song))
    conversion = converted(song)

    def write_all() -> Any:
        # A copy, since what outputs share is remembered for each conversion.
        fresh = replace(conversion)
        return ledger_json(fresh), ledger_csv(fresh), html_page(fresh)

    written = best_ms(write_all)
    path = folder / f"{notes}.html"
    path.write_text(html_page(conversion), encoding="utf-8")
    print(
        f"{notes} notes: ledger, table and page {written:.0f} ms, {written / parse:.2f} of mido's"
    )
    size = path.stat().st_size
    best = min(opened(page, path) for _ in range(3))
    print(f"  page {size / notes:.0f} bytes a note, opens in {best:.0f} ms")
    print(
        f"  scrolling, as opened: {quantiles(page.evaluate(FRAMES.replace('SCROLLED', str(SCROLLED))))}"
    )
    zoomed = {clicks: scrolled(page, clicks) for clicks in range(1, 9)}
    dearest = max(zoomed, key=lambda clicks: zoomed[clicks][0])
    spent, times = zoomed[dearest]
    print(f"  scrolling, dearest zoom ({dearest} in from all): {quantiles(times)}")
    print(f"    with {spent:.0f} ms of processor time a frame, in all of the browser's threads")


def scrolled(page: Page, clicks: int) -> tuple[float, list[float]]:
    """Return processor time a frame and the frames of a scroll, so many clicks in from the song."""
    page.get_by_role("button", name="Whole song").click()
    for _ in range(clicks):
        page.get_by_role("button", name="Zoom in in time").click()
    before = browser_ms()
    found: list[float] = page.evaluate(FRAMES.replace("SCROLLED", str(SCROLLED)))
    return (browser_ms() - before) / SCROLLED, found


def browser_ms() -> float:
    """Return the processor time of the processes below this one: it hardly depends on the load."""
    spent, children = {}, defaultdict(list)
    for path in Path("/proc").glob("[0-9]*/stat"):
        with suppress(OSError):
            # proc(5): after the name come state, parent, ..., and at 14 and 15 the times in ticks.
            fields = path.read_text().rpartition(")")[2].split()
            children[int(fields[1])].append(int(path.parent.name))
            spent[int(path.parent.name)] = int(fields[11]) + int(fields[12])
    below, total = list(children[os.getpid()]), 0
    while below:
        each = below.pop()
        total += spent[each]
        below += children[each]
    return 1000 * total / os.sysconf("SC_CLK_TCK")


def main() -> None:
    with sync_playwright() as playwright, tempfile.TemporaryDirectory() as folder:
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"]
        )
        page = browser.new_page(viewport={"width": 1280, "height": 900})
        for notes in (500, 5000, 50_000):
            measure(notes, page, Path(folder))
        browser.close()


if __name__ == "__main__":
    main()
