"""The sheet's side of a report: figures by hand, and laws over all sheets."""

from __future__ import annotations

import json
from dataclasses import replace
from importlib import resources
from typing import TYPE_CHECKING

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from arranger.cli.app import app
from arranger.engine import load_engine
from arranger.report.summaries.sheet_side import sheet_side, side_json, side_lines
from arranger.sheet import Sheet, parse
from tests.machine.alone import binary
from tests.sheet.playable import playable

if TYPE_CHECKING:
    from pathlib import Path

    from arranger.engine.model import Engine

PIER = """\
arranger-sheet 1
title     Pier
engine    twin-counter
step      1/2 beat
tempo     125
bar 3   2/4
  voice 1   E5  -   .   A4
  voice 2   A2  -   -   -
  drums     kick  .  hat kick
bar 4   loop 3
  voice 1   -   -   .   .
bar 5   3/4   section refrain
  voice 1   E5  -   .   A4  .  .
bar 6   2/4
  voice 1   -   -   .   .
bar 7   section A
  voice 1   E5  -   .   A4
  voice 2   A2  -   -   -
  drums     kick  .  hat kick
bar 8
  voice 1   -   -   .   .
"""
ENGINE = load_engine("twin-counter")


def test_a_sheet_is_told_in_figures() -> None:
    """A step of 1/2 beat at 125 beats a minute is 240 ms; 241.7 ms is the nearest in the list."""
    sheet = parse(PIER)
    side = sheet_side(sheet, ENGINE)
    size, code = len(binary(sheet, ENGINE).content), ENGINE.code_bytes
    e5, a2, a4 = (ENGINE.pitches[midi].cents for midi in (76, 45, 69))
    assert lines_of(PIER) == [
        "Pier",
        "  engine    twin-counter",
        "  length    0:06, 6 bars, 26 steps of 1/2 beat (241.7 ms)",
        "  tempo     125 asked, 124.14 played",
        "  metre     2/4 in 5 bars, 3/4 in 1 bar",
        "  sections  refrain 5-6, A 7-8",
        "  loop      back to bar 4, step 3: 0:05 a round",
        "  voice 1   A4 to E5, 6 tones on 50 % of the steps",  # the holds of bar 6 hold nothing
        "  voice 2   A2, 2 tones on 31 % of the steps",  # 8 of 26
        f"  tuning    E5 {e5:+.1f} cents (3x), A4 {a4:+.1f} cents (3x), "
        f"the others within {abs(a2):.1f} cents",
        "  drums     kick 4, hat 2",
        f"  memory    {code} bytes of player and {size - code} of song: "
        f"{32768 - size:,} of 32,768 are free",
        "  repeats   3 different bars; 6 as 4; 7-8 as 3-4",
    ]
    assert abs(a2) < 10 < abs(a4) < abs(e5)
    assert side.seconds == pytest.approx(26 * side.step_seconds)


LENGTH = ENGINE.nearest_step_length(0.24).setting


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        ("tempo     125", f"length {LENGTH}", f"  tempo     124.14, by length {LENGTH}"),
        ("   loop 3", "", "  loop      none: the piece ends"),
        ("   loop 3", "   loop", "  loop      back to bar 4: 0:05 a round"),
    ],
)
def test_what_is_otherwise_is_told_otherwise(old: str, new: str, line: str) -> None:
    assert line in lines_of(PIER.replace(old, new))


def lines_of(text: str, engine: Engine = ENGINE) -> list[str]:
    return list(side_lines(sheet_side(parse(text), engine), 120))


def test_of_pitches_out_of_tune_the_worst_five_are_named() -> None:
    row = "bar 2/4\n  voice 1   E5 C5 C6 F4\nbar\n  voice 1   F5 D5 D4 E5\n"
    sour = [ENGINE.pitches[midi].cents for midi in (76, 72, 84, 65, 77, 74, 62)]
    assert min(map(abs, sour)) > 10  # all of them
    told = list(side_lines(sheet_side(parse(PIER[: PIER.index("bar")] + row), ENGINE)))
    assert told[8:10] == [
        "  tuning    E5 -38.4 cents (2x), C5 +21.1 cents (1x), C6 +21.1 cents (1x),",
        "            F4 +19.1 cents (1x), F5 +19.1 cents (1x), 2 more by over 10 cents",
    ]
    assert told[10].startswith("  drums")


def test_a_silent_sheet_and_one_that_doesnt_fit() -> None:
    silent = "arranger-sheet 1\nengine twin-counter\nstep 1/2\ntempo 125\n" + "bar\n" * 4
    said = lines_of(silent)
    assert said[0] == "(no title)"
    assert [line[12:] for line in said[6:10]] == [
        "silent", "silent", "nothing is played", "none",
    ]  # fmt: skip
    assert said[-1] == "  repeats   1 different bar"  # silence repeats nothing
    (memory,) = (
        line
        for line in lines_of(silent, replace(ENGINE, memory_bytes=ENGINE.code_bytes + 8))
        if "memory" in line
    )
    size = sheet_side(parse(silent), ENGINE).song_bytes
    assert size is not None
    assert memory.endswith(
        f" of song: {size - 8} more than the {ENGINE.code_bytes + 8} that there are"
    )


@settings(max_examples=20, deadline=None)
@given(playable())
def test_the_figures_of_any_sheet_agree_with_it(given: tuple[Sheet, Engine]) -> None:
    sheet, engine = given
    values = json.loads(side_json(sheet_side(sheet, engine)))
    schema = resources.files("arranger.report").joinpath("sheet.schema.json").read_text("utf-8")
    jsonschema.validate(values, json.loads(schema))
    assert sum(values["metres"].values()) == values["bars"]
    assert sum(values["drums"].values()) == sum(hit is not None for hit in sheet.drums)
    tones = sum(entry["tones"] for entry in values["tuning"])
    assert tones == values["voice1"]["tones"] + values["voice2"]["tones"]
    assert tones == sum(cell >= 0 for cell in (*sheet.voice1, *sheet.voice2))
    assert values["step_seconds"] * sheet.steps == pytest.approx(values["seconds"])


BARS = {"a": "  voice 1   A4 - . .\n", "b": "  voice 1   B4 - . .\n", "c": "  drums kick . . .\n"}


@settings(max_examples=60)
@given(st.text("abc", min_size=1, max_size=24))
def test_what_repeats_is_found_and_the_rest_differs(kinds: str) -> None:
    head = "arranger-sheet 1\nengine twin-counter\nstep 1/2\ntempo 125\n"
    text = head + "".join(f"bar {n} 2/4\n{BARS[kind]}" for n, kind in enumerate(kinds, 1))
    side = sheet_side(parse(text), ENGINE)
    told: set[int] = set()
    for run in side.repeats:
        bars, others = range(run.first, run.last + 1), range(run.as_first, run.as_last + 1)
        assert len(others) == len(bars)
        assert run.as_last < run.first
        for place, bar in enumerate(bars):
            assert kinds[bar - 1] == kinds[others[place] - 1]
            assert bar not in told
            told.add(bar)
    rest = [kind for bar, kind in enumerate(kinds, 1) if bar not in told]
    assert len(rest) == len(set(rest)) == side.different_bars


def test_the_command_tells_a_sheet_from_a_ledger(tmp_path: Path) -> None:
    path, run = tmp_path / "pier.duet", CliRunner().invoke
    path.write_text(PIER)
    (tmp_path / "pier.txt").write_text(PIER)
    said = list(side_lines(sheet_side(parse(PIER), ENGINE), 80))
    assert run(app, ["report", str(path)]).stdout.splitlines() == said
    assert run(app, ["report", str(tmp_path / "pier.txt")]).stdout.splitlines() == said
    (tmp_path / "pier.ledger.json").write_text("{}")
    beside = run(app, ["report", str(path)]).stdout.splitlines()[-1]
    assert (
        beside == f"  what became of the song's notes: arranger report {tmp_path}/pier.ledger.json"
    )
    values = json.loads(run(app, ["report", str(path), "--json"]).stdout)
    assert (values["format"], values["version"]) == ("arranger-sheet-report", 1)
    assert run(app, ["report", str(path), "--bars", "3"]).exit_code == 2


def test_what_fills_the_memory_fits_and_what_is_10_cents_off_is_in_tune() -> None:
    sheet = parse(PIER)
    size = sheet_side(sheet, ENGINE).song_bytes
    assert size is not None
    pitches = {midi: pitch._replace(cents=10.0) for midi, pitch in ENGINE.pitches.items()}
    pitches[76] = pitches[76]._replace(cents=-12.3456)
    full = replace(ENGINE, memory_bytes=ENGINE.code_bytes + size, pitches=pitches)
    side = sheet_side(sheet, full)
    assert side.fits
    assert not sheet_side(sheet, replace(full, memory_bytes=full.memory_bytes - 1)).fits
    assert [tuned.cents for tuned in side.tuning] == [-12.35, 10.0, 10.0]
    told = "".join(side_lines(side, 120))
    assert "E5 -12.3 cents (3x), the others within 10.0 cents" in told
    assert f": 0 of {full.memory_bytes:,} are free" in told
