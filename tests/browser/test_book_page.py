"""The songbook's page in a real browser."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import expect

from arranger.songbook.page import book_page
from tests.browser.test_song_page import violations
from tests.report.test_book_page import RECORDS

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from tests.browser.conftest import Opened

pytestmark = pytest.mark.browser


@pytest.fixture
def book_file(written: Callable[[str, str], Path]) -> Path:
    """Write the page of a small songbook."""
    return written("book", book_page(RECORDS, {}))


def test_ranks_sorts_and_finds(opened: Callable[..., Opened], book_file: Path) -> None:
    page = opened(book_file).page
    names = page.locator("#songs tbody th a")
    # 4 of 4 kept before 6 of 10
    expect(names.last).to_have_text("One")
    expect(page.locator("#pages")).to_be_hidden()
    page.get_by_role("button", name="Notes", exact=True).click()
    expect(names.first).to_have_text("One")
    page.get_by_label("Find").fill("harbour")
    expect(names).to_have_count(1)
    expect(page.locator("#found")).to_have_text("1 of 2 songs")
    assert names.first.get_attribute("href") == "./harbour/one.report.html"


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_no_violation(
    opened: Callable[..., Opened], book_file: Path, axe: str, scheme: str
) -> None:
    page = opened(book_file, color_scheme=scheme, bypass_csp=True).page
    assert not violations(page, axe)
