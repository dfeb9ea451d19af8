"""Suggestions: what they promise is what the command gives, and they do no harm."""

from __future__ import annotations

import shlex
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from arranger.cli.app import run as run_command
from arranger.conversion import convert
from arranger.engine import load_engine
from arranger.options import build_settings, read_command_line
from arranger.reduce.ledger import columns_of
from arranger.report import CommandRun, html_page, song_heard, suggestions
from arranger.report.heard.hearing import asked_lines
from arranger.report.heard.losses import beats_heard, line_losses
from arranger.report.summaries import suggest
from arranger.sheet import read_sheet, write_sheet
from tests.reduce.little_songs import Line, song_of
from tests.report.conftest import DEMO_SONGS, converted

if TYPE_CHECKING:
    from pathlib import Path

    from arranger.conversion import Conversion


@pytest.mark.parametrize("name", ["waltz", "parade"])
def test_the_command_gives_what_was_promised_and_does_no_harm(
    name: str, request: pytest.FixtureRequest
) -> None:
    now: Conversion = request.getfixturevalue(name)
    found = suggestions(now, run=CommandRun("demo.mid", "out"))
    assert found
    lines = asked_lines(now).line
    for each in found:
        words = shlex.split(each.command)
        assert words[:5] == ["arranger", "convert", "demo.mid", "-o", "out"]
        settings = read_command_line(shlex.join(words[5:]))
        then = convert(now.song, load_engine(settings.engine), settings)
        assert each.after == song_heard(then)
        assert each.before == song_heard(now)
        was, lost = line_losses(beats_heard(now)), line_losses(beats_heard(then))
        assert all(b <= a for a, b in zip(was, lost, strict=True))
        assert each.loss_change == pytest.approx(sum(lost) / sum(was) - 1)
        assert each.loss_change < -suggest.LEAST_GAIN
        entries = zip(now.reduction.ledger.entries, then.reduction.ledger.entries, strict=True)
        for line, (before, after) in zip(lines, entries, strict=True):
            if line in (0, 1) and before.outcome != "dropped":
                assert after.outcome != "dropped"
    changes = [each.loss_change for each in found]
    assert changes == sorted(changes)


def test_what_would_harm_is_not_offered(parade: Conversion) -> None:
    """Another tune leaves the tune out; fewer drums give up drums; so neither is advice."""
    assert suggest._tried(parade, suggest.Attempt({"tune": "6"}, ""), CommandRun("a"), None) is None
    assert (
        suggest._tried(parade, suggest.Attempt({"drums": "light"}, ""), CommandRun("a"), None)
        is None
    )
    finer = suggest.Attempt({"step": "1/4"}, "a finer step")
    tried = suggest._tried(parade, finer, CommandRun("a"), None)
    assert tried is not None
    assert tried.bytes_more > 0
    # Where it would no longer fit it is none.
    engine = parade.engine
    memory = engine.code_bytes + suggest.song_bytes(parade.sheet, engine)
    small = replace(parade, engine=replace(engine, memory_bytes=memory))
    assert suggest._tried(small, finer, CommandRun("a"), None) is None


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


def test_another_key_is_said_in_semitones() -> None:
    """The top of the tune is a semitone above the table, and sounds an octave lower."""
    engine = load_engine("twin-phase")
    steps = (1, -1, -3, -4, -6, -4, -3, -1) * 4
    tune = [(beat, 1, engine.highest + step) for beat, step in enumerate(steps)]
    song = song_of(Line(tune, "tune"), Line([(4 * bar, 4, 43) for bar in range(8)], "bass"))
    now = convert(song, engine, build_settings({}))
    attempt = suggest.Attempt({"transpose": "auto"}, "the key")
    tried = suggest._tried(now, attempt, CommandRun("a.mid"), None)
    assert tried is not None
    assert (tried.options, tried.what) == ("--transpose -1", "the key")
    assert tried.command.split("--")[1:] == ["transpose -1"]
    assert (tried.before, tried.after) == ((92, 100, None, None), (100, 100, None, None))
    assert tried.loss_change == -1
    assert tried.effect == f"tune 92 to 100 %; {-tried.bytes_more} bytes less"


def test_nothing_is_suggested_where_nothing_is_lost() -> None:
    assert suggestions(converted("two_gulls.mid")) == ()


def test_the_page_shows_them_whole_with_a_way_to_copy(waltz: Conversion) -> None:
    found = suggestions(waltz, run=CommandRun("my waltz.mid", "out", ("--no-audio",)))
    page = html_page(waltz, found)
    assert "Commands to try" in page
    for each in found:
        told = each.command.replace("'", "&#39;")
        assert told.startswith("arranger convert &#39;my waltz.mid&#39; -o out --no-audio --")
        assert f'data-copy="{told}"' in page
    assert "Commands to try" not in html_page(waltz)


def test_a_sheet_with_edits_gets_lines_that_keep_them(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    song, out = str(DEMO_SONGS / "ferry_waltz.mid"), str(tmp_path)
    assert run_command(["convert", song, "-o", out, "--no-audio", "--no-suggestions"]) == 0
    file = tmp_path / "ferry_waltz.duet"
    sheet = read_sheet(file)
    voice1 = (*sheet.voice1[:-1], 72)
    write_sheet(replace(sheet, voice1=voice1), file, by="hand")
    capsys.readouterr()
    assert run_command(["convert", song, "-o", out, "--no-audio", "--keep-edits"]) == 0
    told = capsys.readouterr().out
    line = told[told.rindex("arranger convert") :].replace("\\\n", " ")
    words = shlex.split(line)
    assert "--keep-edits" in words
    assert not {"--step", "--transpose"} & {*words}, "edits might not fit"
    assert run_command(words[1:]) == 0
    assert read_sheet(file).voice1[-1] == 72


def test_nothing_is_suggested_for_edits_that_nobody_can_keep(waltz: Conversion) -> None:
    ledger = waltz.reduction.ledger
    first = ledger.entries[0]._replace(reasons=("by-hand",))
    edited = replace(ledger, columns=columns_of((first, *ledger.entries[1:])))
    assert suggestions(replace(waltz, reduction=replace(waltz.reduction, ledger=edited))) == ()
