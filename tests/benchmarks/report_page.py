"""Page build time, size, opening and scrolling in Chromium for 500, 5,000 and 50,000 notes.

    python tests/benchmarks/report_page.py

Times depend on the machine; the ratio to mido's own parsing of the same file doesn't, much.
"""

from __future__ import annotations

import sys
import tempfile
import time
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

FRAMES = """
async () => {
  const scroller = document.getElementById("scroller");
  const room = scroller.scrollWidth - scroller.clientWidth;
  const times = [];
  let last = performance.now();
  for (let frame = 0; frame < 90; frame += 1) {
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
    print(f"  scrolling, as opened: {quantiles(page.evaluate(FRAMES))}")
    zoomed = {clicks: scrolled(page, clicks) for clicks in range(1, 9)}
    slowest = max(zoomed, key=lambda clicks: sum(zoomed[clicks]))
    print(f"  scrolling, slowest zoom ({slowest} in from all): {quantiles(zoomed[slowest])}")


def scrolled(page: Page, clicks: int) -> list[float]:
    """Return the frames of a scroll, so many clicks zoomed in from the whole song."""
    page.get_by_role("button", name="Whole song").click()
    for _ in range(clicks):
        page.get_by_role("button", name="Zoom in in time").click()
    found: list[float] = page.evaluate(FRAMES)
    return found


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
