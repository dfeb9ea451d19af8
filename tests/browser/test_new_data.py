"""The page of a song given other data while it is open."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import expect

from arranger.conversion import convert
from arranger.engine import load_engine
from arranger.options import build_settings
from arranger.report import sentences_of
from arranger.report.pages.page_data import page_data
from tests.browser.conftest import open_page

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from arranger.conversion import Conversion
    from tests.browser.conftest import Opened

pytestmark = pytest.mark.browser


def test_new_data_keeps_choice_place_and_sight(
    opened: Callable[..., Opened], written: Callable[[str, str], Path], parade: Conversion
) -> None:
    settings = build_settings({"texture": "two-highest", "drums": "none"})
    other = convert(parade.song, load_engine("twin-phase"), settings)
    page = opened(written("shown", open_page(parade)), bypass_csp=True).page
    page.locator("#mend .go").first.click()
    page.locator("#list tbody .go").nth(40).click()
    note = int(page.locator("#list tr.marked").get_attribute("data-note") or -1)
    before = page.locator("#about .sentence").inner_text()
    assert before == sentences_of(parade)[note]
    sight = "[...['scrollLeft'].map((name) => document.getElementById('scroller')[name])]"
    left = page.evaluate(sight)
    where = page.locator("#where").inner_text()
    page.evaluate("text => show(JSON.parse(text))", "".join(page_data(other)))
    expect(page.locator("#about .sentence")).to_have_text(sentences_of(other)[note])
    assert sentences_of(other)[note] != before
    assert page.evaluate(sight) == left
    assert page.locator("#where").inner_text() == where
    lost = sum(entry.outcome != "kept" for entry in other.reduction.ledger.entries)
    expect(page.locator("#found")).to_have_text(f"{lost} notes")
    # A passage: the chosen note lies outside, so do the bars.
    few = json.loads("".join(page_data(other)))
    few["bars"], few["steps"] = few["bars"][:2], sum(bar[2] for bar in few["bars"][:2])
    few["problems"], few["heard"] = [], [line[:2] for line in few["heard"]]
    page.evaluate("data => show(data)", few)
    expect(page.locator("#no-problem")).to_be_visible()
    expect(page.locator("#where")).to_contain_text("bar 2")
