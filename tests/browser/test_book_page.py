"""The songbook's page in a real browser, with the pages of real songs beside it."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import expect

from arranger.report.pages.song_page import BookPlace, html_page_pieces
from arranger.songbook.known.converted import done_record
from arranger.songbook.known.song_record import SongRecord
from arranger.songbook.progress import Progress
from arranger.songbook.shown.book_page import book_page
from tests.browser.conftest import DEMO_SONGS, converted
from tests.browser.test_song_page import violations
from tests.report.test_book_page import RECORDS

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from playwright.sync_api import Page

    from arranger.conversion import Conversion
    from tests.browser.conftest import Opened

pytestmark = pytest.mark.browser

NAMES = ["harbour/boat_parade", "two_gulls"]
MADE_UP = 300


@pytest.fixture(scope="session")
def book(parade: Conversion, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write a songbook of two real songs, one that failed, and many without pages; return its page."""
    folder = tmp_path_factory.mktemp("book & more")
    (folder / "harbour").mkdir()
    records = []
    for name, conversion in zip(
        NAMES, (parade, converted(DEMO_SONGS / "two_gulls.mid")), strict=True
    ):
        page = folder / f"{name}.report.html"
        place = BookPlace("../" * name.count("/") + "songbook.html", f"{name}.mid")
        page.write_text("".join(html_page_pieces(conversion, book=place)), encoding="utf-8")
        records.append(done_record(f"{name}.mid", name, conversion, (page.name,)))
    records[1] = replace(records[1], doubts=(("metre", "no bars"),), change="tune +1")
    failed = SongRecord(relative="wreck.mid", place="wreck", state="failed", message="no song")
    plain = [
        replace(
            records[0], relative=f"plain/{n:03}.mid", title=f"Plain {n}", outputs=(), lost=n % 7
        )
        for n in range(MADE_UP)
    ]
    path = folder / "songbook.html"
    path.write_text(book_page([*records, failed, *plain], {}), encoding="utf-8")
    return path


def shown(page: Page) -> list[str]:
    return page.locator("#rows .name").all_inner_texts()


def test_worst_first_and_only_rows_in_sight_are_there(
    opened: Callable[..., Opened], book: Path
) -> None:
    page = opened(book).page
    assert shown(page)[:2] == ["wreck.mid", "Boat Parade"]
    assert page.locator("#rows .entry").count() < 40
    expect(page.locator("#songs")).to_have_attribute("aria-rowcount", str(MADE_UP + 4))
    page.evaluate("scrollTo(0, document.body.scrollHeight)")
    last = page.locator(f"#rows .entry[aria-rowindex='{MADE_UP + 4}']")
    expect(last).to_be_in_viewport()
    assert page.locator("#rows .entry").count() < 60


def test_filter_and_order_survive_a_song_and_the_back_button(
    opened: Callable[..., Opened], book: Path
) -> None:
    page = opened(book).page
    page.get_by_role("columnheader", name="Song").get_by_role("button").click()
    page.get_by_label("Find").fill("l")
    page.get_by_label("Only").select_option("doubts")
    assert shown(page) == ["Two Gulls"]
    page.get_by_label("Only").select_option("")
    names = shown(page)
    assert names[:2] == ["Plain 0", "Plain 1"]
    expect(page.locator("#found")).to_have_text(f"{MADE_UP + 1} of {MADE_UP + 3} songs")
    page.mouse.wheel(0, 4000)
    page.wait_for_timeout(300)
    before = shown(page)
    assert "Plain 0" not in before
    page.evaluate("location.assign('two_gulls.report.html')")
    page.locator("#roll").wait_for()
    page.go_back()
    page.locator("html[data-ready]").wait_for(state="attached")
    expect(page.get_by_label("Find")).to_have_value("l")
    expect(page.locator("th, [role=columnheader]").first).to_have_attribute(
        "aria-sort", "ascending"
    )
    assert shown(page) == before


def test_keys_choose_and_open_and_the_song_leads_on_and_back(
    opened: Callable[..., Opened], book: Path
) -> None:
    page = opened(book).page
    page.keyboard.press("n")
    page.keyboard.press("ArrowDown")
    expect(page.locator("#chosen-title")).to_have_text("Boat Parade")
    expect(page.locator("#rows [aria-current]")).to_contain_text("Boat Parade")
    expect(page).to_have_url(re.compile("song=harbour"))
    page.keyboard.press("Enter")
    page.locator("html[data-ready] #roll").wait_for()
    expect(page.locator("#book-at")).to_have_text(f"song 2 of {MADE_UP + 3} of the list")
    # What is chosen there goes into the address, beside the list.
    page.keyboard.press("n")
    expect(page).to_have_url(re.compile(r"bar=\d+&book="))
    page.keyboard.press("N")
    page.wait_for_url(re.compile("two_gulls"))
    expect(page.locator("#title")).to_have_text("Two Gulls")
    page.locator("html[data-ready] #roll").wait_for()
    page.get_by_role("link", name="Next song").click()
    expect(page.locator("#found")).to_have_text("That was the last song of the list.")
    expect(page.locator("#chosen-title")).to_have_text("Two Gulls")
    page.go_back()
    page.locator("html[data-ready] #roll").wait_for()
    page.keyboard.press("P")
    page.wait_for_url(re.compile("boat_parade"))
    page.locator("html[data-ready] #roll").wait_for()
    page.keyboard.press("b")
    expect(page.locator("#chosen-title")).to_have_text("Boat Parade")


def test_the_list_that_a_song_leads_on_in_is_the_filtered_one(
    opened: Callable[..., Opened], book: Path
) -> None:
    page = opened(book).page
    page.get_by_label("Only").select_option("metre")
    page.get_by_role("link", name="Two Gulls").click()
    expect(page.locator("#book-at")).to_have_text("song 1 of 1 of the list")
    page.get_by_role("link", name="Song before").click()
    expect(page.locator("#found")).to_have_text("That was the first song of the list.")
    expect(page.get_by_label("Only")).to_have_value("metre")


def test_a_song_plays_in_the_book(opened: Callable[..., Opened], book: Path) -> None:
    page = opened(book).page
    page.get_by_role("button", name="Play Boat Parade").click()
    place = page.locator("#place")
    expect(place).to_have_text(re.compile("^0:0[1-9] of"), timeout=15_000)
    page.locator("#chosen-strips").click(position={"x": 200, "y": 10})
    expect(place).to_have_text(re.compile("^0:[1-5][0-9] of"))
    page.get_by_label("song", exact=True).check()
    page.get_by_label("Find").fill("gulls")
    page.get_by_role("button", name="Play Two Gulls").click()
    expect(page.locator("#chosen-title")).to_have_text("Two Gulls")
    expect(place).to_have_text(re.compile("^0:0[1-9] of"), timeout=15_000)
    expect(page.locator("iframe")).to_have_count(1)
    button = page.get_by_role("button", name="Pause", exact=True)
    button.click()
    expect(page.locator("#play")).to_have_text("Play")
    page.wait_for_timeout(300)  # what the player says last may be on its way
    stopped = page.locator("#chosen-strips").get_attribute("aria-valuenow")
    page.wait_for_timeout(1200)
    assert page.locator("#chosen-strips").get_attribute("aria-valuenow") == stopped


@pytest.mark.parametrize(
    ("only", "files"),
    [
        ("failed", ["three.mid"]),
        ("misfits", ["two & #2.mid"]),
        ("doubts", ["harbour/one.mid"]),
        ("metre", ["harbour/one.mid"]),
        ("pedal", []),
        ("edited", ["two & #2.mid"]),
        ("changed", ["harbour/one.mid"]),
        ("", ["three.mid", "two & #2.mid", "harbour/one.mid"]),
    ],
)
def test_each_filter_lets_its_songs_through(
    opened: Callable[..., Opened], written: Callable[[str, str], Path], only: str, files: list[str]
) -> None:
    page = opened(written("few", book_page(RECORDS, {}))).page
    page.get_by_label("Only").select_option(only)
    found = [text.split(":")[0] for text in page.locator("#rows .under").all_inner_texts()]
    assert found == files
    expect(page.get_by_text("No song is like that.")).to_be_visible(visible=files == [])


@pytest.mark.parametrize(
    ("column", "titles"),
    [
        ("lost", ["One", "two"]),
        ("drums", ["two", "One"]),
        ("length", ["One", "two"]),
        ("edited", ["two", "One"]),
    ],
)
def test_columns_sort_with_what_is_unknown_last(
    opened: Callable[..., Opened],
    written: Callable[[str, str], Path],
    column: str,
    titles: list[str],
) -> None:
    page = opened(written("few", book_page(RECORDS, {}))).page
    page.get_by_label("Order").select_option(column)
    told = [
        text.split(".")[0].split("/")[-1] for text in page.locator("#rows .under").all_inner_texts()
    ]
    places = {"one": "One", "two & #2": "two"}
    assert [places[each] for each in told if each in places] == titles
    page.get_by_role("button", name="The other way round").click()
    assert page.locator("#rows .under").first.inner_text() != "three.mid"


def test_all_rows_are_there_for_paper(opened: Callable[..., Opened], book: Path) -> None:
    page = opened(book).page
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    assert page.locator("#rows .entry").count() == MADE_UP + 3
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    assert page.locator("#rows .entry").count() < 40


@pytest.mark.parametrize(
    "options", [{"color_scheme": "dark"}, {"viewport": {"width": 390, "height": 844}}, {}]
)
def test_axe_finds_no_violation_and_nothing_sticks_out(
    opened: Callable[..., Opened], book: Path, axe: str, options: dict[str, object]
) -> None:
    page = opened(book, bypass_csp=True, **options).page
    page.keyboard.press("n")
    page.keyboard.press("n")
    assert not violations(page, axe)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    page.keyboard.press("Enter")
    page.locator("html[data-ready] #roll").wait_for()
    assert not violations(page, axe)


def test_a_page_of_a_run_that_goes_on_says_how_far_it_is_and_when_it_is_old(
    opened: Callable[..., Opened], tmp_path: Path
) -> None:
    record = SongRecord(relative="a.mid", place="a", state="done", notes=4)
    path = tmp_path / "songbook.html"
    path.write_text(book_page([record], {}, Progress(1, 5, seconds_left=60.0)), encoding="utf-8")
    page = opened(path).page
    place = page.locator("#running")
    expect(place).to_contain_text("The run goes on: 1 of 5 songs are done, about 60 seconds left.")
    expect(page.locator("#age")).to_be_empty()
    path.write_text(
        re.sub('data-written="\\d+"', 'data-written="0"', path.read_text()), encoding="utf-8"
    )
    page.get_by_role("button", name="Reload").click()
    expect(page.locator("#age")).to_contain_text("Reload it; if nothing newer comes")
    path.write_text(book_page([record], {}), encoding="utf-8")
    page.get_by_role("button", name="Reload").click()
    expect(place).to_have_count(0)
