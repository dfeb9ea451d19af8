"""The live page of `arranger review` in a real Chromium: saves followed, edits written, conflicts shown."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import Page, expect

from arranger.sheet import format_sheet, read_sheet
from arranger.sheet.history.file import read_history
from tests.browser.conftest import READY
from tests.browser.test_song_page import violations
from tests.review.served import Served, converted, served, written

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from playwright.sync_api import Browser

    from arranger.conversion import Conversion
    from tests.browser.conftest import Opened

pytestmark = pytest.mark.browser

Reviewing = tuple[Page, Served]


@pytest.fixture
def reviewing(
    request: pytest.FixtureRequest, browser: Browser, tmp_path: Path
) -> Iterator[Reviewing]:
    """Review the sheet of a band; at the end the page may not have complained."""
    path = written(converted("boat_parade"), tmp_path / "boat_parade.duet")
    with served(path) as found:
        size, bypass = {"width": 1280, "height": 900}, getattr(request, "param", False)
        context = browser.new_context(viewport=size, bypass_csp=bypass)
        page = context.new_page()
        complaints: list[str] = []
        page.on("console", lambda message: complaints.append(message.text))
        page.on("pageerror", lambda error: complaints.append(str(error)))
        elsewhere: list[str] = []
        page.on("request", lambda request: elsewhere.append(request.url))
        page.goto(found.server.address(0))
        page.locator(READY).wait_for(state="attached")
        yield page, found
        context.close()
        assert [each for each in complaints if "ERR_FAILED" not in each] == []
        ours = (found.server.doors.origin, "data:", "blob:")
        assert all(url.startswith(ours) for url in elsewhere)


def choose_bar(page: Page, bar: int) -> None:
    page.goto(f"{page.url.split('#')[0]}#bar={bar}")
    expect(page.locator(".cells")).to_have_attribute("aria-label", f"cells of bar {bar}")


def held_back(page: Page, found: Served) -> None:
    """Let the page hear of no change of the file any more."""
    page.route("**/state?*", lambda route: route.abort())
    # what it has asked already is answered by this
    found.path.write_text(f"{found.path.read_text()}# the tide turns\n")
    expect(page.locator(".live")).to_contain_text("trying again")


def test_what_an_editor_saves_is_seen_while_the_music_plays(reviewing: Reviewing) -> None:
    page, found = reviewing
    path, text = found.path, found.path.read_text()
    expect(page.locator(".live")).to_contain_text("Follows boat_parade.duet")
    choose_bar(page, 2)
    lines = page.locator(".sheet-text code")
    expect(lines).to_have_count(4)
    assert lines.nth(1).inner_text() in text.split("\n")
    first = int(page.locator(".sheet-text li").first.get_attribute("value") or 0)
    assert text.split("\n")[first - 1].startswith("bar 2 ")
    page.locator("#play").click()
    expect(page.locator("#play")).to_have_text("Pause")
    note = page.locator("#found").inner_text()

    path.write_text(text.replace("B5       -   | -         A5", "B5       -   | D6        A5", 1))
    expect(lines.nth(1)).to_contain_text("D6")
    expect(page.locator(".sheet-text .by-hand")).to_have_count(1)
    expect(page.locator("#sheet-lines .hint").first).to_contain_text("bar 2 (voice 1)")
    expect(page.locator("#found")).not_to_have_text(note)
    expect(page.locator("#play")).to_have_text("Pause")
    page.locator("#play").click()

    path.write_text(text.replace("B5       -   | -         A5", "B5       -   | H6        A5", 1))
    wrong = page.locator(".live .problems .error")
    expect(wrong).to_have_count(1)
    expect(wrong).to_contain_text("'H6' is no pitch")
    expect(wrong.locator("code")).to_contain_text("H6")
    expect(lines.nth(1)).to_contain_text("D6")  # what was there before stays in sight

    page.locator(".cells td[tabindex='0']").focus()
    page.keyboard.type("d")
    path.write_text(text)
    expect(page.locator(".live .problems li")).to_have_count(0)
    expect(page.locator(".cells input")).to_have_value("d")  # what is being typed isn't taken away
    page.keyboard.press("Escape")
    expect(page.locator(".sheet-text .by-hand")).to_have_count(0)
    expect(page.locator("#found")).to_have_text(note)


@pytest.mark.parametrize("reviewing", [True], indirect=True)  # axe needs to get in
def test_a_lost_note_is_taken_and_given_back(reviewing: Reviewing, axe: str) -> None:
    page, found = reviewing
    before = found.path.read_bytes()
    choose_bar(page, 2)
    page.locator(".lost .go[data-note]").first.click()
    takes = page.locator(".lost .take")
    expect(takes.first).to_be_visible()
    told = page.locator(".lost li").first.inner_text()
    assert "displaces" in told
    takes.first.hover()
    assert not violations(page, axe)
    name = page.locator(".lost h3").inner_text().split(" ")[0]
    takes.first.click()
    expect(page.locator(".live")).to_contain_text("taken")
    expect(page.locator(".lost .take")).to_have_count(0)
    assert found.path.read_bytes() != before
    expect(page.locator("#about .sentence")).to_contain_text(name)
    expect(page.locator("#about .sentence")).not_to_have_class(re.compile("dropped"))
    assert [version.by for version in read_history(found.path).versions] == ["found", "review"]

    page.get_by_role("button", name="Undo").click()
    expect(page.locator(".lost .take").first).to_be_visible()
    assert found.path.read_bytes() == before
    page.get_by_role("button", name="Redo").click()
    expect(page.locator(".lost .take")).to_have_count(0)
    page.get_by_role("button", name="Undo").click()
    expect(page.locator(".lost .take").first).to_be_visible()
    page.get_by_role("button", name="Undo").click()
    expect(page.locator(".live")).to_contain_text("no earlier version")

    found.path.write_text(found.path.read_text().replace("voice 1", "voice one", 1))
    expect(page.locator(".problems .error").first).to_be_visible()
    assert not violations(page, axe)


def test_cells_are_typed_and_a_bar_is_written_anew(reviewing: Reviewing) -> None:
    page, found = reviewing
    choose_bar(page, 3)
    page.locator(".cells td[tabindex='0']").focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowDown")
    page.keyboard.type("f#3")
    page.keyboard.press("Enter")
    expect(page.locator(".cells td[data-row='1'][data-step='1']")).to_have_text("F#3")
    sheet = read_sheet(found.path)
    start = sheet.bar_starts[2]
    assert sheet.voice2[start + 1] == 54
    focused = "[document.activeElement.dataset.row, document.activeElement.dataset.step]"
    assert page.evaluate(focused) == ["1", "2"]  # the next cell, in the new data too
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Delete")
    expect(page.locator(".cells td[data-row='2'][data-step='2']")).to_have_text(".")
    assert read_sheet(found.path).drums[start + 2] is None
    page.keyboard.type("tambor")
    page.keyboard.press("Tab")
    expect(page.locator(".problems .error")).to_contain_text("'tambor'")
    page.get_by_role("button", name="Undo").click()
    expect(page.locator(".problems .error")).to_have_count(0)
    page.keyboard.press("Escape")

    rows = [sheet.voice1[start : start + 8], sheet.voice2[start : start + 8]]
    page.get_by_label("anew as").select_option("two-highest")
    expect(page.locator("#sheet-lines .bar [role=status]").last).to_contain_text("displaces")
    page.get_by_role("button", name="Write it").click()
    expect(page.locator(".live")).to_contain_text("Bar 3 as two-highest")
    sheet = read_sheet(found.path)
    assert [sheet.voice1[start : start + 8], sheet.voice2[start : start + 8]] != rows


def test_a_change_from_outside_is_joined_or_shown_and_never_lost(reviewing: Reviewing) -> None:
    page, found = reviewing
    choose_bar(page, 3)
    start = read_sheet(found.path).bar_starts[2]
    first = page.locator(".cells td[data-row='0'][data-step='0']")
    held_back(page, found)
    found.path.write_text(found.path.read_text().replace("A5        -\n", "A5        E5\n", 1))
    first.focus()
    page.keyboard.type("c5")
    page.keyboard.press("Enter")
    expect(page.locator(".live")).to_contain_text("typed")
    text = found.path.read_text()
    assert "A5        E5\n" in text
    assert "# the tide turns" in text
    assert read_sheet(found.path).voice1[start] == 72
    page.unroute("**/state?*")
    expect(first).to_have_text("C5")

    held_back(page, found)
    other = re.sub(r"(bar 3 .*\n  voice 1   )C5", r"\1A4", found.path.read_text())
    found.path.write_text(other)
    first.focus()
    page.keyboard.type("g5")
    page.keyboard.press("Enter")
    expect(page.locator(".live")).to_contain_text("bar 3 was changed in the file meanwhile")
    assert found.path.read_text() == other
    page.unroute("**/state?*")
    expect(first).to_have_text("A4")
    page.get_by_role("button", name="Put mine all the same").click()
    expect(first).to_have_text("G5")
    assert read_sheet(found.path).voice1[start] == 79

    found.path.write_text(f"{other}# saved by one who hadn't looked\n")
    expect(page.locator(".told")).to_contain_text("saved without your last change (bar 3, voice 1")
    expect(first).to_have_text("A4")
    page.get_by_role("button", name="Put it there again").click()
    expect(first).to_have_text("G5")
    assert "hadn't looked" in found.path.read_text()


def test_the_sheet_s_own_lines_stand_in_a_report_too(
    opened: Callable[..., Opened], parade_file: Path, parade: Conversion
) -> None:
    page = opened(parade_file).page
    page.goto(f"{page.url}#bar=5")
    text = format_sheet(parade.sheet).split("\n")
    first = next(at for at, line in enumerate(text) if line.startswith("bar 5 "))
    expect(page.locator("#sheet-title")).to_have_text(
        f"boat_parade.duet, lines {first + 1} to {first + 4}"
    )
    shown = [line.rstrip("\n") for line in page.locator(".sheet-text code").all_inner_texts()]
    assert shown == text[first : first + 4]
    assert page.locator(".live, .cells, .take").count() == 0
    page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    page.get_by_role("button", name="Copy these lines").click()
    expect(page.locator("#sheet-lines [role=status]")).to_have_text("copied")
    assert page.evaluate("navigator.clipboard.readText()") == "\n".join([*shown, ""])
