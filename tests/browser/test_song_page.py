"""The page of a song in a real browser: opened from disk, played, filtered, used by keyboard."""

from __future__ import annotations

import csv
import io
import re
from typing import TYPE_CHECKING, Any

import mido
import pytest
from playwright.sync_api import expect

from arranger.report import account_of, html_page, sentences_of
from tests.browser.conftest import converted
from tests.report import handmade

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from playwright.sync_api import Page

    from arranger.conversion import Conversion
    from tests.browser.conftest import Opened

pytestmark = pytest.mark.browser


def test_opens_from_disk_and_draws(opened: Callable[..., Opened], parade_file: Path) -> None:
    page = opened(parade_file).page
    expect(page.get_by_role("heading", level=1)).to_have_text("Boat Parade")
    colours = page.evaluate(
        """() => {
          const canvas = document.getElementById("roll");
          const {data} = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
          return new Set(new Uint32Array(data.buffer)).size;
        }"""
    )
    assert colours > 20


def test_hostile_names_do_nothing(
    opened: Callable[..., Opened], written: Callable[[str, str], Path]
) -> None:
    page = opened(written("hostile", html_page(handmade.conversion()))).page
    assert page.evaluate("document.images.length") == 0
    assert "onerror" in page.get_by_role("heading", level=1).inner_text()
    page.locator("#list tbody tr").first.click()
    expect(page.locator("#about .sentence")).to_contain_text("low strings")


def test_draws_the_lowest_and_the_highest_pitch_there_is(
    opened: Callable[..., Opened], written: Callable[[str, str], Path], tmp_path: Path
) -> None:
    song = mido.MidiFile()
    track = mido.MidiTrack()
    song.tracks.append(track)
    for pitch in (0, 127):
        track.append(mido.Message("note_on", note=pitch, velocity=90, time=0))
        track.append(mido.Message("note_off", note=pitch, velocity=0, time=480))
    song.save(tmp_path / "extremes.mid")
    page = opened(written("extremes", html_page(converted(tmp_path / "extremes.mid")))).page
    page.locator("#roll").focus()
    page.keyboard.press("End")
    expect(page.locator("#about .sentence")).to_contain_text("G9")


def test_notes_are_reached_by_keyboard(
    opened: Callable[..., Opened], parade_file: Path, parade: Conversion
) -> None:
    page = opened(parade_file).page
    sentences = sentences_of(parade)
    page.locator("#roll").focus()
    page.keyboard.press("Home")
    first = page.locator("#about .sentence").inner_text()
    assert first in sentences
    page.keyboard.press("ArrowRight")
    second = page.locator("#about .sentence").inner_text()
    assert second in sentences
    assert second != first
    page.keyboard.press("ArrowLeft")
    assert page.locator("#about .sentence").inner_text() == first
    page.keyboard.press("PageDown")
    assert page.locator("#about .sentence").inner_text().startswith("bar 2 ")
    page.keyboard.press("End")
    assert page.locator("#about .sentence").inner_text().startswith("bar 32 ")
    page.keyboard.press("Escape")
    expect(page.locator("#about .sentence")).to_have_count(0)


def test_up_and_down_stay_at_the_same_time(
    opened: Callable[..., Opened], parade_file: Path
) -> None:
    page = opened(parade_file).page
    page.locator("#roll").focus()
    page.keyboard.press("Home")
    seen = []
    for _ in range(3):
        seen.append(page.locator("#about .sentence").inner_text())
        page.keyboard.press("ArrowUp")
    assert len(set(seen)) == 3
    assert all(sentence.startswith("bar 1 beat 1,") for sentence in seen)


def test_pointing_at_a_note_tells_its_sentence(
    opened: Callable[..., Opened], parade_file: Path
) -> None:
    page = opened(parade_file).page
    roll = page.locator("#roll")
    roll.scroll_into_view_if_needed()
    box = roll.bounding_box()
    assert box is not None
    for y in range(30, 300, 4):
        page.mouse.move(box["x"] + 118, box["y"] + y)
        if page.locator("#about .sentence").count():
            break
    expect(page.locator("#about .sentence")).to_contain_text("bar 1 beat ")


def test_what_took_the_place_can_be_followed(
    opened: Callable[..., Opened], parade_file: Path
) -> None:
    page = opened(parade_file).page
    page.locator("#by-reason").select_option("no-turn")
    page.locator("#list tbody .go").first.click()
    before = page.locator("#about .sentence").inner_text()
    assert "the turns went to" in before
    page.locator("#about .go").first.click()
    after = page.locator("#about .sentence").inner_text()
    assert after != before
    assert "dropped" not in after


def test_filter_list_and_roll_keep_in_step(
    opened: Callable[..., Opened], parade_file: Path, parade: Conversion
) -> None:
    page = opened(parade_file).page
    found, sentences = account_of(parade), sentences_of(parade)
    entries = parade.reduction.ledger.entries
    lost = [entry for entry in entries if entry.outcome != "kept"]
    expect(page.locator("#found")).to_have_text(f"{len(lost)} notes")
    page.locator("#by-outcome").select_option("merged")
    page.locator("#from-bar").fill("3")
    page.locator("#to-bar").fill("8")
    wanted = [
        sentences[entry.note]
        for entry in lost
        if entry.outcome == "merged" and 3 <= found.bar[entry.note] <= 8
    ]
    expect(page.locator("#found")).to_have_text(f"{len(wanted)} of {len(lost)} notes")
    expect(page.locator("#list tbody tr")).to_have_count(len(wanted))
    # The roll goes only through what the filter lets through.
    page.locator("#roll").focus()
    page.keyboard.press("Home")
    assert page.locator("#about .sentence").inner_text() == wanted[0]
    expect(page.locator("#list tbody tr").first).to_have_class("marked")
    page.get_by_role("button", name="All", exact=True).click()
    expect(page.locator("#found")).to_have_text(f"{len(lost)} notes")


def test_sorting_says_so_to_screen_readers(
    opened: Callable[..., Opened], parade_file: Path
) -> None:
    page = opened(parade_file).page
    heading = page.locator("th", has=page.get_by_role("button", name="Outcome", exact=True))
    page.get_by_role("button", name="Outcome", exact=True).click()
    expect(heading).to_have_attribute("aria-sort", "ascending")
    expect(page.locator("#list tbody tr").first).to_contain_text("changed")
    page.get_by_role("button", name="Outcome", exact=True).click()
    expect(heading).to_have_attribute("aria-sort", "descending")
    expect(page.locator("#list tbody tr").first).to_contain_text("dropped")


def test_copies_the_filtered_list_as_csv(
    opened: Callable[..., Opened], parade_file: Path, parade: Conversion
) -> None:
    found = opened(parade_file, permissions=["clipboard-read", "clipboard-write"])
    page = found.page
    page.locator("#by-outcome").select_option("changed")
    page.get_by_role("button", name="Copy as CSV").click()
    expect(page.locator("#copied")).to_contain_text("rows copied")
    copied = page.evaluate("navigator.clipboard.readText()")
    rows = list(csv.DictReader(io.StringIO(copied, newline="")))
    sentences = sentences_of(parade)
    entries = parade.reduction.ledger.entries
    wanted = [sentences[entry.note] for entry in entries if entry.outcome == "changed"]
    assert [row["explanation"] for row in rows] == wanted


def test_plays_switches_and_pauses(opened: Callable[..., Opened], parade_file: Path) -> None:
    page = opened(parade_file).page
    page.get_by_role("button", name="Play", exact=True).click()
    expect(page.get_by_role("button", name="Pause")).to_be_visible()
    expect(page.locator("#where")).to_have_text(re.compile("bar 1, beat [34]"), timeout=5000)
    page.get_by_role("radio", name="song").check()
    expect(page.locator("#where")).to_have_text(re.compile("bar 2"), timeout=5000)
    page.get_by_role("button", name="Pause").click()
    stopped = page.locator("#where").inner_text()
    page.wait_for_timeout(400)
    assert page.locator("#where").inner_text() == stopped
    page.get_by_role("button", name="From the start").click()
    expect(page.locator("#where")).to_have_text("bar 1, beat 1")


def test_axe_finds_no_violation(opened: Callable[..., Opened], parade_file: Path, axe: str) -> None:
    found = opened(parade_file, bypass_csp=True)
    found.page.locator("#list tbody .go").first.click()
    assert not violations(found.page, axe)


def violations(page: Page, axe: str) -> list[Any]:
    """Return what axe-core finds, with the elements."""
    page.add_script_tag(content=axe)
    report = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    return [
        (each["id"], [node["html"][:200] for node in each["nodes"]])
        for each in report["violations"]
    ]


def test_narrow_screens_need_no_sideways_scrolling(
    opened: Callable[..., Opened], parade_file: Path
) -> None:
    page = opened(parade_file, viewport={"width": 360, "height": 740}).page
    assert page.evaluate("document.documentElement.scrollWidth") <= 360


def test_prints_strips_bars_to_mend_and_the_roll_on_a_few_pages(
    opened: Callable[..., Opened], parade_file: Path
) -> None:
    page = opened(parade_file, color_scheme="dark").page
    # 32 bars; a page is one object of this type (ISO 32000-1, 7.7.3.3).
    assert 1 <= len(re.findall(rb"/Type\s*/Page\b", page.pdf(format="A4"))) <= 3
    page.locator("#by-outcome").select_option("merged")
    page.emulate_media(media="print")
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    images = page.locator("#printed img")
    names = images.evaluate_all("images => images.map((image) => image.alt)")
    assert names[0].startswith("Bars 1 to ")
    assert names[-1].endswith(" to 32")
    for seen in ("#overview", "#problems", "#printed .legend", "#list"):
        assert page.locator(seen).is_visible()
    corner = "document.getElementById('overview').getContext('2d').getImageData(300, 54, 1, 1).data"
    assert max(page.evaluate(f"[...{corner}].slice(0, 3)")) > 180, "paper is light"
    for hidden in ("#scroller", "#play", "#filters"):
        assert page.locator(hidden).is_hidden()
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    expect(images).to_have_count(0)


def test_large_songs_scroll_and_zoom(opened: Callable[..., Opened], large_file: Path) -> None:
    assert large_file.stat().st_size < 300_000
    page = opened(large_file).page
    page.get_by_role("button", name="Whole song").click()
    page.locator("#roll").focus()
    page.keyboard.press("End")
    expect(page.locator("#about .sentence")).to_be_visible()
    for _ in range(12):
        page.keyboard.press("+")
    page.keyboard.press("ArrowLeft")
    view = page.evaluate("document.getElementById('scroller').scrollLeft")
    assert view > 1000
