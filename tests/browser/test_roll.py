"""The roll of a song's page: what it opens with, what is chosen in it, how it is played."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import pytest
from playwright.sync_api import expect

from arranger.report import sentences_of
from arranger.rows import tones
from tests.browser.conftest import open_page
from tests.browser.test_song_page import violations

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from playwright.sync_api import Page

    from arranger.conversion import Conversion
    from tests.browser.conftest import Opened

pytestmark = pytest.mark.browser

GAINS = """
const made = AudioContext.prototype.createGain;
window.gains = [];
AudioContext.prototype.createGain = function () {
  const gain = made.call(this);
  window.gains.push(gain);
  return gain;
};
0;
"""


@pytest.fixture(scope="module")
def shown_file(written: Callable[[str, str], Path], parade: Conversion) -> Path:
    """Write the page of the band with its inside in sight."""
    return written("shown", open_page(parade))


def left(page: Page) -> float:
    found: float = page.evaluate("document.getElementById('scroller').scrollLeft")
    return found


def bar_x(page: Page, bar: int, share: float = 0.5) -> float:
    """Return where a bar, counted from 1, stands in the window."""
    box = page.locator("#roll").bounding_box()
    assert box is not None
    inside: float = page.evaluate(
        "([bar, share]) => { const {first, steps} = state.account.bars[bar - 1];"
        " return view.x(first + share * steps); }",
        [bar, share],
    )
    return box["x"] + inside


def roll_y(page: Page, y: float) -> float:
    box = page.locator("#roll").bounding_box()
    assert box is not None
    return box["y"] + y


def test_opens_folded_with_both_voices_in_the_middle(
    opened: Callable[..., Opened], shown_file: Path, parade: Conversion
) -> None:
    page = opened(shown_file, bypass_csp=True, viewport={"width": 1280, "height": 420}).page
    heard = [
        pitch
        for row in (parade.sheet.voice1, parade.sheet.voice2)
        for pitch in tones(row)
        if pitch is not None
    ]
    song = {note.pitch for note in parade.song.notes if not note.drum}
    rows = page.evaluate("view.rows")
    assert rows["pitches"] == sorted(song | set(heard), reverse=True)
    assert rows["drums"] == sorted({note.pitch for note in parade.song.notes if note.drum})
    assert page.evaluate("view.contentHeight > view.height"), "too much to be seen at once"
    middle = page.evaluate(
        "([high, low]) => (view.y(high) + view.y(low) + view.rowPx) / 2", [max(heard), min(heard)]
    )
    room = page.evaluate("[RULER, view.floor]")
    assert middle == pytest.approx(sum(room) / 2, abs=2)
    # All pitches between, when asked for; what was in the middle stays there.
    page.get_by_text("Shown and heard").click()
    page.get_by_label("only pitches in use").uncheck()
    every = page.evaluate("view.rows.pitches")
    assert every == list(range(max(song), min(song) - 1, -1))


def test_the_address_leads_to_bars_notes_and_filter_and_back(
    opened: Callable[..., Opened], shown_file: Path, parade: Conversion
) -> None:
    page = opened(shown_file, bypass_csp=True).page
    note = next(
        entry.note
        for entry in parade.reduction.ledger.entries
        if entry.outcome == "merged" and parade.grid.onset_steps[entry.note] > 100
    )
    page.goto(f"{shown_file.as_uri()}#bars=3-4&note={note}&outcome=merged&sort=pitch-down")
    page.reload()
    sentence = page.locator("#about .sentence")
    expect(sentence).to_have_text(sentences_of(parade)[note])
    expect(page.locator("#chosen-from")).to_have_value("3")
    expect(page.locator("#chosen-to")).to_have_value("4")
    expect(page.locator("#by-outcome")).to_have_value("merged")
    expect(page.locator("th[aria-sort=descending]")).to_have_text("Note")
    where = left(page)
    assert where > 0, "the note is brought into sight"
    page.get_by_role("button", name="Zoom in in time").click()
    zoomed = left(page)
    page.evaluate("select({bar: 28})")
    assert re.search("#bar=29&outcome=merged", page.url)
    expect(sentence).to_have_count(0)
    assert left(page) != zoomed
    page.locator("#by-outcome").select_option("dropped")
    page.go_back()
    expect(sentence).to_have_text(sentences_of(parade)[note])
    assert left(page) == zoomed, "scrolling and zoom are as they were left"
    expect(page.locator("#by-outcome")).to_have_value("merged")
    page.go_forward()
    expect(page.locator("#by-outcome")).to_have_value("dropped")
    expect(page.locator("#chosen-from")).to_have_value("29")
    # Nothing that is there: the page opens all the same.
    page.goto(f"{shown_file.as_uri()}#bar=999&note=99999&part=7&sort=x&page=0")
    expect(page.locator("#chosen-from")).to_have_value("32")


def test_bars_are_chosen_by_dragging_by_ruler_and_by_number(
    opened: Callable[..., Opened], shown_file: Path
) -> None:
    page = opened(shown_file, bypass_csp=True).page
    page.locator("#roll").scroll_into_view_if_needed()
    chosen = "() => [state.bars?.from, state.bars?.to]"
    page.mouse.move(bar_x(page, 3), roll_y(page, 200))
    page.mouse.down()
    page.mouse.move(bar_x(page, 5, 0.1), roll_y(page, 220), steps=4)
    page.mouse.up()
    assert page.evaluate(chosen) == [2, 4]
    assert page.url.endswith("#bars=3-5")
    expect(page.locator("#where")).to_have_text("bar 3, beat 1")
    page.mouse.click(bar_x(page, 2), roll_y(page, 8))
    assert page.evaluate(chosen) == [1, 1]
    page.keyboard.down("Shift")
    page.mouse.click(bar_x(page, 4), roll_y(page, 8))
    page.keyboard.up("Shift")
    assert page.evaluate(chosen) == [1, 3]
    page.locator("#chosen-to").fill("12")
    page.locator("#chosen-to").press("Tab")
    assert page.evaluate(chosen) == [1, 11]
    # A clicked note stays chosen, whatever the pointer then passes over.
    page.evaluate("document.getElementById('scroller').scrollLeft = 0")
    page.wait_for_function("view.scrollX === 0")
    y = page.evaluate("view.noteBox(view.account.drawn.find((id) => !isDrum(view.account, id)))[1]")
    page.mouse.click(bar_x(page, 1, 0.01), roll_y(page, y + 3))
    note = page.evaluate("state.note")
    assert note >= 0
    assert f"note={note}" in page.url
    assert page.evaluate(chosen) == [1, 11]
    page.mouse.move(bar_x(page, 4), roll_y(page, 100), steps=9)
    page.mouse.move(5, 5)
    assert page.evaluate("state.note") == note
    page.keyboard.press("Escape")
    assert page.evaluate("state.note") == -1
    page.keyboard.press("Escape")
    assert page.evaluate("state.bars") is None


def test_playing_follows_until_scrolled_and_loops_what_is_chosen(
    opened: Callable[..., Opened], shown_file: Path
) -> None:
    found = opened(shown_file, bypass_csp=True)
    page = found.page
    page.evaluate(GAINS)
    expect(page.locator("#time")).to_have_text("0:00 of 1:01")
    page.locator("h1").click()
    page.keyboard.press("Space")
    expect(page.get_by_role("button", name="Pause")).to_be_visible()
    # Volume 40 is what it says from the start: 0.4 squared.
    assert page.evaluate("gains[0].gain.value") == pytest.approx(0.16)
    page.evaluate("document.getElementById('scroller').scrollLeft = 900")
    expect(page.get_by_label("follow")).not_to_be_checked()
    page.wait_for_timeout(500)
    assert left(page) == 900
    # A bar chosen while it plays is played, and loops as soon as that is asked for.
    page.evaluate("select({bars: [20, 20]})")
    expect(page.locator("#where")).to_have_text(re.compile("bar 21, beat [12]"))
    expect(page.get_by_label("follow")).to_be_checked()
    page.keyboard.press("l")
    page.locator("#tempo").fill("150")
    expect(page.locator("#where")).to_have_text("bar 21, beat 4")
    expect(page.locator("#where")).to_have_text("bar 21, beat 1")
    page.evaluate("select({bars: [4, 4]})")
    expect(page.locator("#where")).to_have_text("bar 5, beat 3")
    expect(page.locator("#where")).to_have_text("bar 5, beat 1")
    page.get_by_text("Shown and heard").click()
    page.get_by_label("voice 1: heard").uncheck()
    expect(page.locator("#where")).to_have_text("bar 5, beat 4")
    page.keyboard.press("Escape")
    expect(page.locator("#where")).to_have_text(re.compile("bar 6"))
    page.locator("h1").click()
    page.keyboard.press("Space")
    expect(page.get_by_role("button", name="Play", exact=True)).to_be_visible()


def test_the_roll_stays_in_sight_beside_the_list(
    opened: Callable[..., Opened], shown_file: Path
) -> None:
    page = opened(shown_file, bypass_csp=True).page
    page.locator("#list tbody tr").nth(60).scroll_into_view_if_needed()
    expect(page.locator("#roll")).to_be_in_viewport(ratio=0.9)
    page.locator("#list tbody .go").nth(60).click()
    expect(page.locator("#roll")).to_be_in_viewport(ratio=0.9)
    expect(page.locator("#list tbody tr").nth(60)).to_be_in_viewport()
    # Without motion, where that is asked for: it is there at once.
    page.emulate_media(reduced_motion="reduce")
    page.locator("footer").scroll_into_view_if_needed()
    top = "document.querySelector('.sight').getBoundingClientRect().top"
    assert page.evaluate(top) < 0
    assert page.evaluate(f"select({{bar: 2}}), {top}") >= 0


def test_keys_are_listed_and_leave_typing_alone(
    opened: Callable[..., Opened], shown_file: Path, axe: str
) -> None:
    page = opened(shown_file, bypass_csp=True).page
    page.locator("h1").click()
    page.keyboard.press("?")
    panel = page.get_by_role("dialog", name="Keys")
    expect(panel).to_contain_text("play or pause")
    assert not violations(page, axe)
    panel.get_by_label("single keys").uncheck()
    page.keyboard.press("Escape")
    expect(panel).to_be_hidden()
    page.keyboard.press("l")
    expect(page.get_by_label("loop", exact=True)).not_to_be_checked()
    page.locator("#help").click()
    panel.get_by_label("single keys").check()
    panel.get_by_role("button", name="Close").click()
    page.locator("#from-bar").focus()
    page.keyboard.press("l")
    expect(page.get_by_label("loop", exact=True)).not_to_be_checked()
    page.locator("#play").focus()
    page.keyboard.press("l")
    expect(page.get_by_label("loop", exact=True)).to_be_checked()


PHONE: dict[str, Any] = {"viewport": {"width": 390, "height": 844}, "has_touch": True}


@pytest.mark.parametrize("options", [{"color_scheme": "dark"}, PHONE], ids=["dark", "phone"])
def test_axe_finds_nothing_in_what_opens(
    opened: Callable[..., Opened], shown_file: Path, axe: str, options: dict[str, Any]
) -> None:
    page = opened(shown_file, bypass_csp=True, **options).page
    page.evaluate("select({bars: [3, 6], note: 40})")
    for name in ("Shown and heard", "What the shapes mean"):
        page.get_by_text(name).click()
    assert not violations(page, axe)
    page.locator("#help").click()
    assert not violations(page, axe)


def test_on_a_phone_everything_is_large_enough_to_touch(
    opened: Callable[..., Opened], shown_file: Path
) -> None:
    page = opened(shown_file, bypass_csp=True, **PHONE).page
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    for name in ("Shown and heard", "What the shapes mean"):
        page.get_by_text(name).click()
    small = page.evaluate(
        """() => [...document.querySelectorAll("button, select, summary, label, input")]
          .filter((each) => each.checkVisibility() && !each.closest("label > *"))
          .map((each) => [each.textContent.trim() || each.id, each.getBoundingClientRect()])
          .filter(([, box]) => box.width > 0 && box.height < 43.5)
          .map(([name, box]) => `${name} ${box.height}`)"""
    )
    assert small == []
    # A finger that comes near a note means it; names stand whole.
    page.evaluate("scrollTo(0, document.querySelector('.sight').offsetTop - 20)")
    box = page.evaluate("view.noteBox(view.account.drawn.find((id) => !isDrum(view.account, id)))")
    canvas = page.locator("#roll").bounding_box()
    assert canvas is not None
    page.touchscreen.tap(canvas["x"] + box[0] + 4, canvas["y"] + box[1] - 8)
    assert page.evaluate("state.note") >= 0
    assert page.evaluate("view.gutter >= view.namesWidth + 8")
