"""The page as text: escaping, its security policy, its data. How it behaves: tests/browser."""

from __future__ import annotations

import base64
import hashlib
import html
import json
import random
import re
import shlex
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arranger.report import html_page
from arranger.report.pages.build import embedded, packed
from tests.report.pages import data_of, read, unpacked

if TYPE_CHECKING:
    from arranger.conversion import Conversion


def test_names_from_the_file_never_become_markup(hand: Conversion) -> None:
    reader = read(html_page(hand))
    assert len(reader.scripts) == 3
    assert not any(tag == "img" for tag, _ in reader.elements)
    assert not any("onerror" in attributes for _, attributes in reader.elements)


@given(st.text() | st.sampled_from(["</script>", "<!--<script>", "]]>", "\u2028", "\x00"]))
def test_embedded_text_stays_inside_its_element(text: str) -> None:
    written = embedded(json.dumps([text], ensure_ascii=False))
    assert "<" not in written
    assert json.loads(written) == [text]


@given(
    st.lists(st.text() | st.integers(1, 90_000).map(lambda n: random.Random(n).randbytes(n).hex()))
)
def test_what_is_packed_comes_back(pieces: list[str]) -> None:
    assert unpacked("".join(packed(pieces))) == "".join(pieces)


def test_policy_allows_these_scripts_and_nothing_else(hand: Conversion) -> None:
    page = html_page(hand)
    policy = next(
        attributes["content"]
        for tag, attributes in read(page).elements
        if tag == "meta" and attributes.get("http-equiv") == "Content-Security-Policy"
    )
    assert policy is not None
    _, program, boot = read(page).scripts
    digests = [
        base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        for text in (boot, unpacked(program))
    ]
    assert "script-src 'sha256-{}' 'sha256-{}';".format(*digests) in policy
    assert "default-src 'none'" in policy
    assert "connect-src" not in policy


def test_asks_nothing_of_a_network(parade: Conversion) -> None:
    page = html_page(parade)
    for _, attributes in read(page).elements:
        for name in ("src", "href"):
            value = attributes.get(name)
            assert value is None or value.startswith(("#", "data:"))
    program = unpacked(read(page).scripts[1])
    assert not re.search(r"url\(|@import|fetch\(|XMLHttpRequest|WebSocket", page + program)


def test_data_holds_every_note_once(parade: Conversion) -> None:
    notes = data_of(html_page(parade))["notes"]
    assert {len(column) for column in notes.values()} == {len(parade.song.notes)}


def test_positions_and_lengths_are_in_hundredths_of_steps(hand: Conversion) -> None:
    notes = data_of(html_page(hand))["notes"]
    # 240 ticks a step
    assert notes["at"] == [0, 0, 0, 200, 300, 400, 600, 800, 1025]
    assert notes["steps"][:3] == [200, 400, 400]
    assert notes["spans"][1] == [[2, 0, 2], [2, 3, 1]]


@pytest.mark.parametrize("name", ["a tune.mid", "it's; rm -rf $HOME `date`.mid", 'x"&<b>.mid'])
def test_command_can_be_pasted_into_a_shell(hand: Conversion, name: str) -> None:
    shown = re.search(
        '<code class="command">(arranger convert .*?)</code>',
        html_page(replace(hand, song=replace(hand.song, file=name))),
    )
    assert shown is not None
    assert shlex.split(html.unescape(shown[1])) == ["arranger", "convert", name]
    assert "<" not in shown[1]


def test_where_the_beat_was_found_by_ear_notes_are_as_long_as_on_the_grid(hand: Conversion) -> None:
    tracked = replace(hand, grid=replace(hand.grid, basis="tracked"))
    assert data_of(html_page(tracked))["notes"]["steps"] == [200] * 9


def test_the_page_says_which_bars_have_which_texture(hand: Conversion, parade: Conversion) -> None:
    page = html_page(hand)
    assert "<li><b>bar 1</b>: broken-chord, since chords sound for 75 % of the time" in page
    assert "<li><b>bar 2</b>: two-highest, as asked</li>" in page
    assert "<code>two-highest</code> is the highest note and the second highest." in page
    assert "tune-and-bass</code> is" not in page, "only what occurs is explained"
    in_turn = sum(e.reasons[:1] == ("broken-chord",) for e in parade.reduction.ledger.entries)
    assert in_turn
    assert f"({in_turn} of them)" in html_page(parade)
    assert "of them)" not in page
    no_passages = replace(hand, reduction=replace(hand.reduction, passages=()))
    assert "What the two voices play" not in html_page(no_passages)
