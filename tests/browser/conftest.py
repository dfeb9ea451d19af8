"""A real Chromium, driven by playwright, and axe-core for accessibility.

Chromium is Debian's, named by the variable CHROMIUM or found on the path. axe-core comes from npm, in
the version below: from the folder named by the variable AXE_CORE, or installed once into pytest's
cache. Where either is missing the tests fail; they are never skipped.
"""

from __future__ import annotations

import os
import random
import shutil
import subprocess
from pathlib import Path
from typing import TYPE_CHECKING

import mido
import pytest
from playwright.sync_api import Browser, Page, sync_playwright

from arranger.conversion import convert
from arranger.engine import load_engine
from arranger.report import html_page
from arranger.report.pages.build import Script, packed, packed_script
from arranger.report.pages.song_page import SCRIPTS
from arranger.settings import Settings
from arranger.song import read_song

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from arranger.conversion import Conversion

READY = "html[data-ready], html:not(:has(#roll, #rows))"
AXE_VERSION = "4.14.1"
DEMO_SONGS = Path(__file__).parents[2] / "demo_songs"


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Start Chromium."""
    found = os.environ.get("CHROMIUM") or shutil.which("chromium")
    assert found, "Chromium is missing: install Debian's chromium, or name it in CHROMIUM"
    with sync_playwright() as playwright:
        # Software rendering and no sandbox, as in a container without a screen.
        arguments = ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"]
        chromium = playwright.chromium.launch(executable_path=found, args=arguments)
        yield chromium
        chromium.close()


@pytest.fixture(scope="session")
def axe(request: pytest.FixtureRequest) -> str:
    """Return the source of axe-core."""
    folder = Path(os.environ.get("AXE_CORE") or _installed_axe(request))
    return (folder / "axe.min.js").read_text(encoding="utf-8")


def _installed_axe(request: pytest.FixtureRequest) -> Path:
    assert request.config.cache is not None
    place = request.config.cache.mkdir(f"axe-{AXE_VERSION}")
    installed = place / "node_modules" / "axe-core"
    if not (installed / "axe.min.js").exists():
        npm = shutil.which("npm")
        assert npm, "npm is missing: install Debian's npm, or name axe-core's folder in AXE_CORE"
        package = f"axe-core@{AXE_VERSION}"
        options = ["--prefix", str(place), "--no-audit", "--no-fund", "--silent"]
        subprocess.run([npm, "install", *options, package], check=True, timeout=120)
    return installed


@pytest.fixture(scope="session")
def written(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str, str], Path]:
    """Return a function that writes a page to disk, once a name."""
    folder = tmp_path_factory.mktemp("pages")

    def write(name: str, content: str) -> Path:
        path = folder / f"{name}.html"
        if not path.exists():
            path.write_text(content, encoding="utf-8")
        return path

    return write


class Opened:
    """A page in the browser and what it complained about."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.complaints: list[str] = []
        self.requests: list[str] = []
        page.on("console", lambda message: self.complaints.append(message.text))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("request", lambda request: self.requests.append(request.url))


@pytest.fixture
def opened(browser: Browser) -> Iterator[Callable[..., Opened]]:
    """Return a function that opens a file; at the end no page may have complained."""
    pages: list[Opened] = []

    def open_file(path: Path, **options: object) -> Opened:
        context = browser.new_context(**{"viewport": {"width": 1280, "height": 900}, **options})
        found = Opened(context.new_page())
        pages.append(found)
        found.page.goto(path.as_uri())
        # The page of a song starts after it has unpacked its data; others are ready with their load.
        found.page.locator(READY).wait_for(state="attached")
        return found

    yield open_file
    for found in pages:
        assert not found.complaints
        assert all(url.startswith(("file:", "data:", "blob:")) for url in found.requests)
        found.page.context.close()


@pytest.fixture(scope="session")
def parade() -> Conversion:
    """Convert a full band with drums."""
    return converted(DEMO_SONGS / "boat_parade.mid")


@pytest.fixture(scope="session")
def parade_file(parade: Conversion, written: Callable[[str, str], Path]) -> Path:
    """Write the page of the band."""
    return written("parade", html_page(parade))


@pytest.fixture(scope="session")
def large_file(
    written: Callable[[str, str], Path], tmp_path_factory: pytest.TempPathFactory
) -> Path:
    """Write the page of a song of 5,000 notes."""
    path = tmp_path_factory.mktemp("songs") / "large.mid"
    dense_song(5000).save(path)
    return written("large", html_page(converted(path)))


def converted(path: Path) -> Conversion:
    """Return the conversion of a file by the defaults."""
    return convert(read_song(path), load_engine("twin-phase"), Settings())


def open_page(conversion: Conversion) -> str:
    """Return a page whose inside a test can reach; it needs `bypass_csp`."""
    plain = Script.of(SCRIPTS)
    shown = plain.text.replace(
        "\nbegin();", "\nbegin();\nObject.assign(window, { RULER, isDrum, select, show, state });"
    )
    made = "function makePage() {\n  const view = "
    shown = shown.replace(made, f"{made}window.view = ")
    page = html_page(conversion)
    before = packed_script(plain)
    assert before in page
    return page.replace(before, "".join(packed([shown])))


def dense_song(notes: int) -> mido.MidiFile:
    """Return a song of five parts, one with drums, on a grid of quavers; the same every time."""
    chance = random.Random(1)
    song = mido.MidiFile(ticks_per_beat=480)
    for part in range(5):
        channel = 9 if part == 4 else part
        track = mido.MidiTrack([mido.MetaMessage("track_name", name=f"part {part}")])
        song.tracks.append(track)
        pitch = (72, 64, 60, 43, 36)[part]
        for _ in range(notes // 5):
            low, high = ((70, 86), (58, 70), (52, 66), (36, 50), (35, 50))[part]
            pitch = min(max(pitch + chance.randint(-4, 4), low), high)
            track.append(mido.Message("note_on", channel=channel, note=pitch, velocity=80, time=0))
            track.append(
                mido.Message("note_off", channel=channel, note=pitch, velocity=0, time=240)
            )
    return song
