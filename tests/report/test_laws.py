"""Laws of the account on any song: all outputs list each note once and say the same of it."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.conversion import convert
from arranger.engine import load_engine
from arranger.report import bar_losses, html_page, ledger_csv, ledger_json, summary
from arranger.settings import Settings
from tests.reduce.little_songs import Line, song_of
from tests.report.test_ledger_json import VALIDATOR
from tests.report.test_song_page import data_of

ENGINE = load_engine("twin-phase")

TIMES = st.integers(0, 63).map(lambda sixteenths: sixteenths / 4)
LENGTHS = st.integers(0, 24).map(lambda eighths: eighths / 8)
NOTES = st.lists(st.tuples(TIMES, LENGTHS, st.integers(0, 127)), min_size=1, max_size=12)
LINES = st.builds(
    Line,
    notes=NOTES,
    name=st.text(max_size=12),
    program=st.integers(0, 127),
    velocity=st.integers(1, 127),
    drum=st.booleans(),
    pan=st.just(64),
)


@settings(max_examples=12, deadline=None)
@given(lines=st.lists(LINES, min_size=1, max_size=4), title=st.text(max_size=20))
def test_all_outputs_tell_of_each_note_once_and_the_same(lines: list[Line], title: str) -> None:
    song = replace(song_of(*lines), title=title)
    conversion = convert(song, ENGINE, Settings())
    ledger = json.loads(ledger_json(conversion))
    VALIDATOR.validate(ledger)
    notes = ledger["notes"]
    assert [note["id"] for note in notes] == list(range(len(song.notes)))
    rows = list(csv.DictReader(io.StringIO(ledger_csv(conversion).decode(), newline="")))
    assert [row["explanation"] for row in rows] == [note["explanation"] for note in notes]
    assert [row["outcome"] for row in rows] == [note["outcome"] for note in notes]
    page = data_of(html_page(conversion))
    assert page["notes"]["told"] == [note["explanation"] for note in notes]
    assert [page["outcomes"][index] for index in page["notes"]["outcome"]] == [
        note["outcome"] for note in notes
    ]
    assert page["title"] == title
    assert sum(bar[5] for bar in page["bars"]) <= len(notes)


@settings(max_examples=12, deadline=None)
@given(lines=st.lists(LINES, min_size=1, max_size=4))
def test_what_is_heard_of_bars_is_a_share_and_whole_only_without_loss(lines: list[Line]) -> None:
    conversion = convert(song_of(*lines), ENGINE, Settings())
    for bar in bar_losses(conversion):
        for heard, lost in zip(bar.heard, bar.losses, strict=True):
            assert (heard in (100, None)) == (lost == 0)
            assert heard is None or 0 <= heard <= 100
        assert 0 <= bar.dropped <= bar.notes
    totals = summary(conversion).totals
    assert totals["notes"] == sum(totals[o] for o in ("kept", "changed", "merged", "dropped"))
