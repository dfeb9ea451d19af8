"""What the page says first: length and size, the four strips, the bars to mend, what to try."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import expect

from arranger.conversion import convert
from arranger.options import build_settings
from arranger.report import CommandRun, html_page, ranking, song_heard, suggestions
from arranger.report.pages.compare_page import Compared, compare_page_pieces
from tests.browser.test_song_page import violations

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from arranger.conversion import Conversion
    from tests.browser.conftest import Opened

pytestmark = pytest.mark.browser


def test_first_things_first_and_from_problem_to_problem(
    opened: Callable[..., Opened], written: Callable[[str, str], Path], parade: Conversion
) -> None:
    run = CommandRun("songs/boat parade.mid", "out")
    tips = suggestions(parade, run=run)
    page = opened(written("top", html_page(parade, tips, run=run))).page
    expect(page.locator("header .lead")).to_have_text(
        f"1:01, 32 bars, tempo 126 (played at 126.6); {page.locator('#size').inner_text()}"
    )
    assert page.locator("#size").inner_text().startswith("fits: ")
    _, _, harmony, drums = song_heard(parade)
    told = ["tune whole", "bass whole", f"harmony {harmony} %", f"drums {drums} %"]
    expect(page.locator("#lines li")).to_have_text(told)
    # The ranking: what the terminal says, by keys and back, with the bar in the address of the strips.
    problems = ranking(parade)
    expect(page.locator("#problems li")).to_have_count(8)
    for place in (0, 1):
        page.keyboard.press("n")
        current = page.locator("#problems li[aria-current]")
        expect(current).to_contain_text(problems[place].sentence)
        bar = problems[place].bars[0]
        expect(page.locator("#bar-told")).to_contain_text(f"bar {bar.number}: ")
        expect(page.locator("#bar-told")).to_contain_text(problems[place].sentence)
        assert page.locator("#overview").get_attribute("aria-valuenow") == str(bar.number)
        expect(page.locator("#where")).to_contain_text(f"bar {bar.number},")
    page.keyboard.press("p")
    page.keyboard.press("p")
    expect(page.locator("#problems li")).to_have_count(len(problems))
    expect(page.locator("#problems li[aria-current]")).to_contain_text(problems[-1].sentence)
    # A click into the strips chooses the bar there.
    box = page.locator("#overview").bounding_box()
    assert box is not None
    page.locator("#overview").click(position={"x": box["width"] * 4.5 / 32, "y": 60})
    expect(page.locator("#bar-told")).to_contain_text("bar 5: tune whole, bass whole, harmony ")
    # What is lost of bar 24 hangs from the top of the harmony's strip, in the colour of losses.
    row = """() => { const c = document.getElementById("overview"), s = c.width / c.clientWidth;
      return [...c.getContext("2d").getImageData(0, (16 + 2 * 28 + 1) * s, c.width, 1).data] }"""
    pixels = page.evaluate(row)
    lost, heard = (pixels[4 * int(len(pixels) / 4 * (bar + 0.5) / 32) :][:3] for bar in (23, 5))
    assert lost == [0x8C, 0x2A, 0x1F]  # --loss
    assert heard != lost
    # Figures of the program's own stand behind their heading.
    expect(page.get_by_role("columnheader", name="Notes merged")).to_be_hidden()
    page.get_by_text("How this was decided").click()
    expect(page.get_by_role("columnheader", name="Notes merged")).to_be_visible()
    assert tips
    page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    page.locator(f"[data-copy*='{tips[0].options}']").click()
    expect(page.locator("[data-copy]").first).to_have_text("Copied")
    assert page.evaluate("navigator.clipboard.readText()") == tips[0].command


def test_two_conversions_are_shown_and_heard_in_turn_at_the_same_place(
    opened: Callable[..., Opened], written: Callable[[str, str], Path], parade: Conversion, axe: str
) -> None:
    settings = build_settings({"step": "1/4"}, parade.settings)
    other = convert(parade.song, parade.engine, settings)
    sides = Compared("one/boat.duet", parade), Compared("two/boat.duet", other)
    page = opened(written("pair", "".join(compare_page_pieces(*sides))), bypass_csp=True).page
    a, b = (song_heard(each)[2] for each in (parade, other))
    expect(page.locator("#lines li").nth(2)).to_have_text(f"harmony A {a} % B {b} %")
    assert not violations(page, axe)
    page.locator("#pair .go").first.click()
    expect(page.locator("#where")).to_contain_text("bar 24,")
    expect(page.locator("#bar-told")).to_contain_text(ranking(parade)[0].sentence)
    page.locator("#loop").check()
    page.get_by_role("button", name="Play", exact=True).click()
    page.keyboard.press("x")
    expect(page.get_by_label("B: two/boat.duet")).to_be_checked()
    expect(page.locator("#bar-told")).not_to_contain_text(ranking(parade)[0].sentence)
    expect(page.locator("#where")).to_contain_text("bar 24, beat 3", timeout=15000)
    page.get_by_label("A: one/boat.duet").check()
    expect(page.locator("#bar-told")).to_contain_text(ranking(parade)[0].sentence)
