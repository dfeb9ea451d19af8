"""The summary on terminals of several kinds."""

from __future__ import annotations

import io
import json
import re
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

import pytest
from rich.cells import cell_len

from arranger.conversion import convert
from arranger.engine import load_engine
from arranger.grid.model import Section
from arranger.report import summary, terminal_text
from arranger.report.heard.losses import BarLoss
from arranger.report.heard.problems import BarsToMend
from arranger.report.summaries.brief import MOST_LINES, _listed
from arranger.report.summaries.summary import HandLine, Summary, TipLine, _part_lines
from arranger.settings import ReduceSettings, Settings
from arranger.song import read_song_bytes
from tests.sheet.test_by_hand import three_parts

if TYPE_CHECKING:
    from pathlib import Path

    from arranger.conversion import Conversion

ESCAPES = re.compile(r"\x1b\[[0-9;]*m")


class Terminal(io.StringIO):
    """A terminal of some encoding."""

    def __init__(self, encoding: str) -> None:
        super().__init__()
        self._encoding = encoding

    @property
    def encoding(self) -> str:  # type: ignore[override]
        return self._encoding

    def isatty(self) -> bool:
        return True


class Pipe(Terminal):
    def isatty(self) -> bool:
        return False


@pytest.mark.parametrize("song", ["hand", "parade", "waltz"])
@pytest.mark.parametrize("stream", [Terminal("utf-8"), Terminal("ascii"), Pipe("utf-8")])
@pytest.mark.parametrize("columns", [60, 80, 120])
def test_fits_the_width_and_breaks_between_words(
    song: str,
    columns: int,
    stream: Terminal,
    request: pytest.FixtureRequest,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    found = summary(request.getfixturevalue(song))
    width = columns if stream.isatty() else 80
    for details in (False, True):
        lines = ESCAPES.sub("", terminal_text(found, stream, details=details)).splitlines()
        assert max(map(cell_len, lines)) <= width
    # The sentences of the ranking come whole, word by word.
    words = terminal_text(found, stream).split()
    assert not found.hand or {*found.hand[0].sentence.split()} <= {*words}


def test_plain_when_piped(parade: Conversion) -> None:
    text = terminal_text(summary(parade), Pipe("utf-8"), details=True)
    assert "\x1b" not in text
    assert not re.search("[─│┌━]", text)


def test_ascii_where_nothing_else_can_be_shown(parade: Conversion) -> None:
    text = terminal_text(summary(parade), Terminal("ascii"), details=True)
    assert text.isascii()
    assert "|" in text
    lined = terminal_text(summary(parade), Terminal("utf-8"), details=True)
    assert re.search("[─│┌━]", lined)


def test_names_are_neither_markup_nor_escape_sequences(hand: Conversion) -> None:
    for details in (False, True):
        text = terminal_text(summary(hand), Terminal("utf-8"), details=details)
        assert "[bold]" in text
        assert "\x1b[31m" not in text


def test_no_colour_when_asked(parade: Conversion, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    text = terminal_text(summary(parade), Terminal("utf-8"), details=True)
    assert not re.search(r"\x1b\[3\d", text)


def test_says_what_a_musician_asks_first(hand: Conversion, tmp_path: Path) -> None:
    text = summary(hand, [tmp_path / "hostile.duet"]).text(200)
    # The engine has no step of 0.25 s; its nearest is within half a percent (twin-phase.toml).
    assert "tempo asked 121, played 119.6" in text
    assert "9 notes: 3 kept, 3 changed, 1 merged, 2 dropped" in text
    assert "part 2 'low strings': bass, 2 of 2 notes heard (lowest throughout)" in text
    assert "step  1/2 chosen  16 steps: 1 note merges" in text
    assert "step  1/4         32 steps: holds every note" in text
    assert "1 repeat-tied" in text
    assert "track 2, byte 0x0041: a data byte above 127 was clipped" in text
    assert f"wrote {tmp_path / 'hostile.duet'}" in text


def test_json_says_the_same(hand: Conversion) -> None:
    found = json.loads(summary(hand).json())
    assert summary(hand).json().startswith('{\n "')
    assert found["totals"] == {"notes": 9, "kept": 3, "changed": 3, "merged": 1, "dropped": 2}
    assert found["step_lines"][0]["chosen"] is True
    assert found["part_lines"][1]["role"] == "bass"
    assert found["hand"][0]["bars"] == [1]


def test_tune_and_bass_come_first_of_many_parts(hand: Conversion) -> None:
    roles = hand.reduction.roles
    turned = replace(hand.reduction, roles=(roles[2], roles[2], roles[0], roles[1]))
    lines = summary(replace(hand, reduction=turned)).part_lines
    assert [(line.number, line.role) for line in lines] == [
        (3, "tune"),
        (4, "bass"),
        (1, "harmony"),
        (2, "harmony"),
    ]


def test_the_chosen_step_is_shown_even_when_it_was_no_good_one(hand: Conversion) -> None:
    poor = hand.grid.alternatives[0]
    others = [poor._replace(step_beats=Fraction(1, parts)) for parts in (3, 4, 6, 8, 12)]
    grid = replace(hand.grid, alternatives=(*others, poor))
    text = summary(replace(hand, grid=grid)).text()
    assert "step  1/2 chosen" in text
    assert text.count("  step ") == 5


def test_repeated_sections_are_named_with_their_bars(hand: Conversion) -> None:
    sections = (Section("A", 0, 1), Section("A", 1, 1))
    text = summary(replace(hand, grid=replace(hand.grid, sections=sections))).text(200)
    assert "section A is bars 1-1, and again 2-2" in text


def test_bars_that_need_a_hand_stand_in_their_column_as_numbers(hand: Conversion) -> None:
    bars = tuple(BarLoss(place, place + 1, (0,) * 4, (1,) * 4, 3, 1) for place in range(2))
    found = replace(
        summary(hand), hand=(BarsToMend(bars, "lost", ()), BarsToMend(bars[:1], "gone", ()))
    )
    text = ESCAPES.sub("", terminal_text(found, Terminal("utf-8"), details=True))
    assert re.search(r"^ ?1 and 2 .*lost\s*$", text, re.MULTILINE)
    assert re.search(r"^ ?1 .*gone\s*$", text, re.MULTILINE)


def test_quotes_and_dashes_become_plain_and_other_characters_escapes(hand: Conversion) -> None:
    found = replace(summary(hand), remarks=("\u201ca\u201d \u2013 \u2018b\u2019 \u2212 \u00e9",))
    assert "note: \"a\" - 'b' - \\xe9" in terminal_text(found, Terminal("ascii"))
    assert "note: \u201ca\u201d \u2013 \u2018b\u2019" in terminal_text(found, Terminal("utf-8"))


def many(found: Summary) -> Summary:
    """Return a summary with more of everything than a screen holds."""
    problem = HandLine((7, 15), "bars 7 and 15", "the tune's B4 on beat 2 starts late " * 3)
    tip = TipLine(f"arranger convert {'folder/' * 12}song.mid -o out --step 1/4", "a step", "more")
    return replace(
        found,
        title="A title of many words " * 6,
        hand=(problem,) * 20,
        places=45,
        remarks=("one remark of several words " * 9,) * 20,
        suggestions=(tip,) * 5,
        files=tuple(f"out/song{end}" for end in (".duet", ".ledger.json", ".report.html", ".wav")),
        bytes_free=-5,
    )


@pytest.mark.parametrize("stream", [Terminal("utf-8"), Pipe("utf-8")])
def test_a_screen_of_24_lines_holds_it_and_ends_with_what_to_open_and_try(
    hand: Conversion, stream: Terminal, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    found = many(summary(hand))
    lines = ESCAPES.sub("", terminal_text(found, stream)).splitlines()
    assert len(lines) <= MOST_LINES < 24
    text = "\n".join(lines)
    assert "DOESN'T FIT: 5 bytes more than" in text
    assert "heard: tune 87 %, bass 95 %, harmony 0 %, drums 54 %" in lines
    shown = text.count("bars 7 and 15")
    assert shown > 1
    assert f"  {45 - shown} more places: see the report, or --details" in lines
    assert "more remarks: see the report, or --details" in text
    tail = text[text.index("open in a browser") :]
    _, page, tried, command = tail.split("\n", 3)
    assert page == "  out/song.report.html"
    assert tried == "try (a step: more):"
    assert command.replace(" \\\n     ", "").strip() == found.suggestions[0].command


def test_short_of_details_it_says_who_plays_what(hand: Conversion) -> None:
    lines = terminal_text(replace(summary(hand), hand=()), Pipe("utf-8")).splitlines()
    assert lines[0].startswith("=</script>")
    assert "0:04, 2 bars, tempo 121 (played at 119.6); fits: " in lines[0] + " " + lines[1].strip()
    assert "tune: =</script><img src=x oner... (part 1); bass: low strings (part 2)" in lines
    assert "no bar needs mending" in lines


def test_items_that_have_no_room_are_counted() -> None:
    told = {
        count: [line.text for line in _listed("- ", ["quay", "mole"], 60, 3, "bar", count)]
        for count in (0, 3, 4)
    }
    assert told == {
        0: ["- quay", "- mole"],
        3: ["- quay", "- mole", "  1 more bar: see the report, or --details"],
        4: ["- quay", "- mole", "  2 more bars: see the report, or --details"],
    }


def test_parts_are_told_tune_first_then_bass() -> None:
    settings = Settings(reduce=ReduceSettings(tune="bass", bass="tune"))
    found = convert(read_song_bytes(three_parts(), "x.mid"), load_engine("twin-phase"), settings)
    assert [(line.number, line.role) for line in _part_lines(found)] == [
        (3, "tune"), (1, "bass"), (2, "harmony"),
    ]  # fmt: skip
