"""Suggestions: what they promise is what the command gives."""

from __future__ import annotations

import shlex
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from arranger.conversion import convert
from arranger.engine import load_engine
from arranger.options import build_settings
from arranger.report import html_page, suggest, suggestions
from tests.report.conftest import converted

if TYPE_CHECKING:
    from arranger.conversion import Conversion


def words_of(options: str) -> dict[str, str]:
    """Return the settings of a line of options."""
    words = shlex.split(options)
    return {
        name.removeprefix("--"): value for name, value in zip(words[::2], words[1::2], strict=True)
    }


@pytest.mark.parametrize("name", ["waltz", "parade"])
def test_the_command_gives_what_was_promised(name: str, request: pytest.FixtureRequest) -> None:
    conversion: Conversion = request.getfixturevalue(name)
    found = suggestions(conversion)
    assert found
    now = conversion.reduction.ledger.outcomes()
    for suggestion in found:
        settings = build_settings(words_of(suggestion.options), conversion.settings)
        other = convert(conversion.song, load_engine(settings.engine), settings)
        then = other.reduction.ledger.outcomes()
        assert now["dropped"] - then["dropped"] == suggestion.heard_more
        assert then["kept"] - now["kept"] == suggestion.kept_more


def test_what_may_take_so_many_bytes_is_tried_with_them_too(parade: Conversion) -> None:
    settings = build_settings({"max-bytes": "480"}, parade.settings)
    tight = convert(parade.song, parade.engine, settings)
    other = build_settings({"drums": "light"}, settings)
    _, tried = suggest._converted(tight, other)
    wanted = convert(parade.song, parade.engine, other).reduction
    assert (tried.voice1, tried.ledger) == (wanted.voice1, wanted.ledger)


@pytest.mark.parametrize(
    "words", [{"tune": "1"}, {"mute": "2"}, {"step": "1/2"}, {"drums": "none"}]
)
def test_an_attempt_is_what_a_conversion_gives(words: dict[str, str], waltz: Conversion) -> None:
    other = build_settings(words, waltz.settings)
    _, tried = suggest._converted(waltz, other)
    wanted = convert(waltz.song, waltz.engine, other).reduction
    assert (tried.voice1, tried.voice2, tried.ledger) == (
        wanted.voice1,
        wanted.voice2,
        wanted.ledger,
    )


@pytest.mark.parametrize("engine", ["twin-phase", "twin-counter"])
def test_another_key_is_said_in_semitones_where_there_is_a_better_one(engine: str) -> None:
    song = converted("boat_parade.mid").song
    now = convert(song, load_engine(engine), build_settings({"engine": engine}))
    auto = build_settings({"transpose": "auto"}, now.settings)
    best = convert(song, load_engine(engine), auto).reduction.ledger.transpose
    attempt = suggest.Attempt({"transpose": "auto"}, "the key")
    tried = suggest._tried(now, suggest.note_values(now), attempt)
    if best == 0:
        assert tried is None
    else:
        assert tried is not None
        assert tried.options == f"--transpose {best}"


@pytest.mark.parametrize("name", ["waltz", "parade"])
def test_only_gains_are_suggested_best_first(name: str, request: pytest.FixtureRequest) -> None:
    found = suggestions(request.getfixturevalue(name))
    assert all(each.heard_more > 0 or each.loss_change < 0 for each in found)
    assert all(each.loss_change <= 0.05 for each in found)
    free = [each.heard_more > 0 and each.loss_change <= 0 for each in found]
    assert free == sorted(free, reverse=True)


def test_nothing_is_suggested_where_nothing_is_lost() -> None:
    assert suggestions(converted("two_gulls.mid")) == ()


def test_the_page_shows_them(waltz: Conversion) -> None:
    found = suggestions(waltz)
    page = html_page(waltz, found)
    assert "Commands to try" in page
    assert all(f"<code>{each.options}</code>" in page for each in found)
    assert "Commands to try" not in html_page(waltz)


def test_nothing_is_suggested_for_a_sheet_with_edits(waltz: Conversion) -> None:
    assert suggestions(waltz)
    ledger = waltz.reduction.ledger
    first = ledger.entries[0]._replace(reasons=("by-hand",))
    edited = replace(ledger, entries=(first, *ledger.entries[1:]))
    assert suggestions(replace(waltz, reduction=replace(waltz.reduction, ledger=edited))) == ()
