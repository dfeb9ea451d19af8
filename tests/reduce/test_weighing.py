"""What was weighed in a bar: the runner-up is the second best way to sound, and terms add up."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from typer.testing import CliRunner

from arranger.cli.app import app, run
from arranger.conversion import measure_of
from arranger.engine import load_engine
from arranger.engine.create import new_engine
from arranger.errors import SettingsError
from arranger.grid import plan_grid
from arranger.grid.model import GridBar
from arranger.pitch import pitch_name
from arranger.reduce import reduce
from arranger.reduce.choose.prepare import prepare
from arranger.reduce.choose.rates import UNITS
from arranger.reduce.tell.weighing import BarWeighing, Choice, _sorted, weigh_bar
from arranger.reduce.tell.weighing_text import weighing_json, weighing_text
from arranger.settings import GridSettings, ReduceSettings
from arranger.sheet import write_sheet
from arranger.song import read_song
from tests.reduce import reference
from tests.reduce.little_songs import Line, grid_of, song_of, taking
from tests.sound.sheets import sheet_of

if TYPE_CHECKING:
    from pathlib import Path

    from arranger.engine.model import Engine

ENGINE = load_engine("twin-phase")
PLAIN = ReduceSettings()
LITTLE = song_of(
    Line([(0, 1, 76), (1, 1, 74)], "melody"),
    Line([(0, 2, 64)], "strings"),
    Line([(0, 2, 48)], "bass"),
    Line([(1, 1, 36)], "drums", drum=True),
)


@pytest.mark.parametrize("engine", [ENGINE, taking(ENGINE)])
def test_the_runner_up_is_the_second_best_way_to_sound(engine: Engine) -> None:
    grid = grid_of(LITTLE, 1)
    found = weigh_bar(LITTLE, engine, grid, PLAIN, 1)
    prepared = prepare(LITTLE, engine, grid, PLAIN)
    hits = frozenset(prepared.hits.steps.tolist())
    silent = hits if engine.drum_takes_step else frozenset()
    tones = reference.plain(prepared.problem.tones)
    song = reference.Song(tones, grid.steps, 1.0, hits, silent)

    def sound(path: tuple[reference.State, ...]) -> tuple[object, ...]:
        return tuple(frozenset((s.voice1, s.voice2)) for s in path)

    ways: dict[tuple[object, ...], int] = {}
    for path in reference.all_paths(song):
        cost = reference.path_cost(song, path, prepared.costs)
        ways[sound(path)] = min(cost, ways.get(sound(path), cost))
    ranked = sorted(ways.values())
    for place, other in enumerate(found.others, start=1):
        assert other.cost * UNITS == ranked[place] - ranked[0]
        assert other.differs
    assert len(found.others) == 3


def test_no_other_way_has_both_voices_hold_one_tone() -> None:
    """A tone by itself can be played by one voice or not at all."""
    one = song_of(Line([(0, 1, 60)], "melody"))
    found = weigh_bar(one, ENGINE, grid_of(one, 1), PLAIN, 1)
    assert [other.differs for other in found.others] == [("beat 1: voice 1 rests",)]


def test_terms_add_up_and_words_say_what_sounds() -> None:
    found = weigh_bar(LITTLE, ENGINE, grid_of(LITTLE), PLAIN, 1)
    assert found.held[0] == "voice 1: beat 1 E5 of 'melody', beat 2 D5 of 'melody'"
    assert found.held[1] == "voice 2: beat 1 C3 of 'bass'"
    assert found.held[2] == "drums: beat 2 kick"
    kit = Line([(beat, 0.25, 36) for beat in (0, 2, 4)], "kit", drum=True)
    drummed = song_of(Line([(beat, 1, 72) for beat in range(8)], "melody"), kit)
    grid = grid_of(drummed)
    half = grid.steps // 2
    grid = replace(grid, bars=(GridBar(1, 0, half, 4, 4), GridBar(2, half, half, 4, 4)))
    rows = [weigh_bar(drummed, ENGINE, grid, PLAIN, bar).held[2] for bar in (1, 2)]
    assert rows == ["drums: beat 1 kick, beat 3 kick", "drums: beat 1 kick"]
    for other in found.others:
        assert other.cost >= 0
        assert sum(other.terms.values()) == pytest.approx(other.cost, abs=0.01)


def test_a_difference_is_told_once_where_it_begins() -> None:
    one = song_of(
        Line([(0, 4, 76)], "melody"),
        Line([(0, 2, 43)], "bass"),
        Line([(0, 1, 64), (1, 1, 65), (2, 2, 62)], "strings"),
    )
    found = weigh_bar(one, ENGINE, grid_of(one), PLAIN, 1, most=30)
    assert found.held[1] == "voice 2: beat 1 G2 of 'bass', beat 3 D4 of 'strings'"
    told = {other.differs for other in found.others}
    assert ("beat 3: voice 2 rests",) in told
    assert ("beat 2: voice 2 has F4 of 'strings'",) in told  # from beat 3 on it is as before
    # Voice 1 rests from beat 2 to the end, over two segments: said once.
    assert ("beat 2: voice 1 rests",) in told
    assert ("beat 2: voice 1 rests", "beat 2: voice 2 has F4 of 'strings'") in told


def test_text_and_json_round_each_figure_once() -> None:
    other = Choice(("beat 2: voice 1 rests",), 0.98765, {"tune": 0.99375, "late": -0.0061})
    found = BarWeighing(
        bar=3, texture="bar 3: two-highest, as asked", held=("voice 1: silent",), turns=(),
        terms={"drum": 0.746, "leap": 0.00349}, others=(other,),
    )  # fmt: skip
    assert weighing_text(found).splitlines()[:8] == [
        "bar 3",
        "  bar 3: two-highest, as asked",
        "  voice 1: silent",
        "  costs 0.75 beats of the tune: drum 0.75, leap 0.00",
        "runner-up: 0.99 more",
        "  beat 2: voice 1 rests",
        "  tune +0.99, late -0.01",
        "where",
    ]
    told = json.loads(weighing_json(found))
    assert told["choice"]["terms"] == {"drum": 0.746, "leap": 0.0035}
    assert told["others"][0]["more"] == 0.9877
    assert told["others"][0]["terms"] == {"tune": 0.9938, "late": -0.0061}


@pytest.mark.parametrize("texture", ["broken-chord", "two-highest", "bass-and-chord"])
def test_every_texture_that_weighs_can_be_asked(texture: str) -> None:
    found = weigh_bar(LITTLE, ENGINE, grid_of(LITTLE), replace(PLAIN, texture=texture), 1)
    assert found.others
    assert all(other.cost >= 0 for other in found.others)


def test_what_cannot_be_asked() -> None:
    with pytest.raises(SettingsError, match="no bar 9; the sheet has bars 1 to 1"):
        weigh_bar(LITTLE, ENGINE, grid_of(LITTLE), PLAIN, 9)
    with pytest.raises(SettingsError, match="weighs nothing"):
        weigh_bar(LITTLE, ENGINE, grid_of(LITTLE), replace(PLAIN, texture="as-written"), 1)


def test_the_command_converts_again_and_tells(tmp_path: Path, demo_song: Path) -> None:
    runner = CliRunner()
    song = tmp_path / demo_song.name
    song.write_bytes(demo_song.read_bytes())
    made = runner.invoke(
        app, ["convert", str(song), "-o", str(tmp_path), "--no-audio", "--drums", "light"]
    )
    assert made.exit_code == 0, made.output
    sheet = song.with_suffix(".duet")
    told = runner.invoke(app, ["explain", str(sheet), "3"])
    assert told.exit_code == 0, told.output
    assert told.output.startswith("bar 3\n  bars 1-32: broken-chord, since chords sound")
    assert "\n  voice 1: " in told.output
    assert "runner-up: " in told.output
    asked = runner.invoke(app, ["explain", str(sheet), "3", "--json", "--most", "2"])
    assert len(json.loads(asked.output)["others"]) == 2
    song.unlink()
    lost = runner.invoke(app, ["explain", str(sheet), "3"])
    assert lost.exit_code == 1
    assert "is not beside the sheet" in str(lost.exception)


def test_a_limit_on_bytes_is_weighed_too(tmp_path: Path, demo_song: Path) -> None:
    song, settings = read_song(demo_song), replace(PLAIN, max_bytes=350)
    grid = plan_grid(song, ENGINE, GridSettings())
    measure = measure_of(ENGINE, grid)
    made = reduce(song, ENGINE, grid, settings, measure)
    assert "simplified from" in made.remarks[-1]
    fewer = 0
    bars = grid.bars[2::8]
    for bar in bars:
        found = weigh_bar(song, ENGINE, grid, settings, bar.number, measure=measure)
        row = made.voice1[bar.first_step : bar.first_step + bar.steps]
        # Each tone that the sheet starts in the bar is one that the choice made has there.
        assert {pitch_name(cell) for cell in row if cell >= 0} <= set(
            re.findall(r"beat [0-9.]+ (\S+) of", found.held[0])
        )
        assert all(other.cost >= 0 for other in found.others)
        free = weigh_bar(song, ENGINE, grid, PLAIN, bar.number)
        fewer += found.held != free.held
    assert fewer > len(bars) / 4
    assert "bytes" in found.terms


def test_an_engine_file_is_found_beside_the_sheet(
    tmp_path: Path, demo_song: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    new_engine(tmp_path / "own.toml", like="twin-counter")
    (tmp_path / "tune.mid").write_bytes(demo_song.read_bytes())
    monkeypatch.chdir(tmp_path)
    assert run(["convert", "tune.mid", "--engine", "own.toml", "--no-audio"]) == 0
    monkeypatch.chdir("/")
    assert run(["explain", str(tmp_path / "tune.duet"), "2"]) == 0


def test_settings_in_the_sheet_are_the_sheets_fault(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sheet = replace(sheet_of(ENGINE, [69]), source_file="tune.mid", settings="--cost foo=1")
    (tmp_path / "tune.mid").write_bytes(b"")
    write_sheet(sheet, tmp_path / "tune.duet")
    assert run(["explain", str(tmp_path / "tune.duet"), "1"]) == 1
    assert f"{tmp_path / 'tune.duet'}: cost: there is no cost called" in capsys.readouterr().err


def test_terms_are_told_from_half_a_thousandth_of_a_beat_on() -> None:
    told = _sorted({"gap": UNITS // 2000, "tied": UNITS // 2000 + 1, "late": -UNITS})
    assert [*told] == ["late", "tied"]


def test_a_repetition_counts_the_same_in_any_step_where_the_engine_has_a_gap() -> None:
    """Else a tone of one step is lost whole to the pause before the next: 1; of a longer one a step: 2."""
    song = song_of(Line([(0, 1, 72), (1, 1, 72), (2, 1, 74)], "melody"))
    bare = replace(ENGINE, drums=tuple(drum for drum in ENGINE.drums if drum.name != "gap"))
    told = [
        prepare(song, engine, grid_of(song, steps), PLAIN).problem.tones.repeats.tolist()
        for engine in (ENGINE, bare)
        for steps in (1, 4)
    ]
    assert told == [[0, 2, 0], [0, 2, 0], [0, 1, 0], [0, 2, 0]]
