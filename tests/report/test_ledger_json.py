"""The ledger's JSON against its published schema and against values worked out by hand."""

from __future__ import annotations

import json
from copy import deepcopy
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import jsonschema
import pytest

from arranger.reduce.reasons import OUTCOMES, REASONS
from arranger.report import ledger_json, ledger_schema
from tests.report.handmade import HOSTILE

if TYPE_CHECKING:
    from arranger.conversion import Conversion

VALIDATOR = jsonschema.Draft202012Validator(ledger_schema())
"""JSON Schema, draft 2020-12, as the jsonschema library reads it."""


def test_schema_is_valid_itself() -> None:
    jsonschema.Draft202012Validator.check_schema(ledger_schema())


@pytest.mark.parametrize("song", ["hand", "parade", "waltz"])
def test_ledgers_satisfy_the_schema(song: str, request: pytest.FixtureRequest) -> None:
    VALIDATOR.validate(json.loads(ledger_json(request.getfixturevalue(song))))


def test_schema_knows_every_outcome_and_reason() -> None:
    defined = ledger_schema()["$defs"]
    assert defined["outcome"]["enum"] == list(OUTCOMES)
    assert defined["reason"]["enum"] == list(REASONS)


@pytest.mark.parametrize(
    ("note", "change"),
    [
        (0, {"outcome": "lost"}),
        (0, {"reasons": ["same-step"]}),
        (2, {"reasons": []}),
        (2, {"step": 3}),
        (5, {"pitch": 128}),
        (5, {"beat": 0.5}),
        (5, {"channel": 16}),
    ],
)
def test_schema_refuses_what_contradicts_the_format(
    hand: Conversion, note: int, change: dict[str, Any]
) -> None:
    ledger = json.loads(ledger_json(hand))
    spoilt = deepcopy(ledger)
    spoilt["notes"][note].update(change)
    VALIDATOR.validate(ledger)
    assert not VALIDATOR.is_valid(spoilt)


def test_head_says_where_the_notes_come_from(hand: Conversion) -> None:
    ledger = json.loads(ledger_json(hand))
    assert (ledger["format"], ledger["version"]) == ("arranger-ledger", 1)
    assert ledger["source"]["ticks_per_beat"] == 480
    assert ledger["source"]["notes"] == 9
    assert ledger["grid"]["step_beats"] == "1/2"
    assert ledger["grid"]["steps"] == 16
    assert ledger["grid"]["basis"] == "file"
    assert "beats_seconds" not in ledger["grid"]


def test_passages_are_told_with_their_bars(hand: Conversion) -> None:
    first, second = json.loads(ledger_json(hand))["passages"]
    assert first.pop("explanation").startswith("bar 1: broken-chord, since chords sound for 75 %")
    assert first == {
        "texture": "broken-chord", "first_bar": 1, "last_bar": 1, "asked": False, "chords": 0.754,
        "part": 1,
    }  # fmt: skip
    assert (second["part"], second["explanation"]) == (None, "bar 2: two-highest, as asked")


def test_tracks_are_indexed_as_in_the_file(hand: Conversion) -> None:
    tracks = json.loads(ledger_json(hand))["source"]["tracks"]
    assert [track["index"] for track in tracks] == [0, 1, 2, 3, 4]
    assert tracks[0] == {"index": 0, "name": "", "notes": 0, "parts": []}
    assert tracks[1]["name"] == HOSTILE
    assert tracks[2]["parts"] == [
        {
            "part": 2,
            "channel": 1,
            "program": 48,
            "name": "low strings",
            "drum": False,
            "role": "bass",
            "notes": 2,
        }
    ]


def test_a_moved_note(hand: Conversion) -> None:
    # 2460 ticks: 1920 at half a second a beat (2 s), 540 at a second a beat (1.125 s);
    # 540 ticks after the bar line at 480 a beat is beat 2.125.
    note = json.loads(ledger_json(hand))["notes"][8]
    del note["explanation"]
    assert note == {
        "id": 8,
        "track": 1,
        "part": 1,
        "channel": 0,
        "onset_tick": 2460,
        "duration_tick": 420,
        "onset_seconds": 3.125,
        "pitch": 72,
        "velocity": 100,
        "drum": False,
        "bar": 2,
        "beat": 2.125,
        "outcome": "changed",
        "reasons": ["moved-to-step"],
        "voice": 1,
        "step": 10,
        "steps": 2,
        "pitch_out": 72,
        "sound": None,
        "late_seconds": 0.0,
        "spans": [[1, 10, 2]],
        "by": [],
        "song_bar": 2,
    }


def test_a_note_in_two_stretches_and_a_drum(hand: Conversion) -> None:
    notes = json.loads(ledger_json(hand))["notes"]
    assert notes[1]["spans"] == [[2, 0, 2], [2, 3, 1]]
    assert (notes[1]["voice"], notes[1]["step"], notes[1]["steps"]) == (2, 0, 2)
    assert notes[1]["by"] == [3]
    assert (notes[3]["voice"], notes[3]["step"], notes[3]["sound"]) == (None, 2, "kick")
    assert (notes[2]["voice"], notes[2]["step"], notes[2]["steps"]) == (None, None, None)


def test_totals_add_up(parade: Conversion) -> None:
    ledger = json.loads(ledger_json(parade))
    totals = ledger["totals"]
    four = [totals[outcome] for outcome in OUTCOMES]
    assert sum(four) == totals["notes"] == ledger["source"]["notes"] == len(ledger["notes"])
    assert sum(totals["reasons"].values()) == totals["notes"] - totals["kept"]
    for outcome in OUTCOMES:
        assert totals[outcome] == sum(note["outcome"] == outcome for note in ledger["notes"])


def test_each_note_has_a_line_of_its_own(hand: Conversion) -> None:
    lines = ledger_json(hand).decode().splitlines()
    assert lines[0] == "{"
    assert lines[1].startswith(' "')
    assert sum(line.startswith('{"id":') for line in lines) == 9


def test_a_tracked_beat_is_told_with_its_times(hand: Conversion) -> None:
    grid = replace(hand.grid, basis="tracked", beats_seconds=(0.0, 0.5000014, 1.0))
    ledger = json.loads(ledger_json(replace(hand, grid=grid)))
    VALIDATOR.validate(ledger)
    assert ledger["grid"]["beats_seconds"] == [0.0, 0.500001, 1.0]
    del ledger["grid"]["beats_seconds"]
    assert not VALIDATOR.is_valid(ledger)
