"""The record of what was generated: read back exactly, damaged without harm."""

from __future__ import annotations

import random
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import settings as profile
from hypothesis import strategies as st

from arranger.conversion import convert
from arranger.engine import load_engine
from arranger.rows import HOLD, REST
from arranger.settings import Settings
from arranger.sheet import Sheet, SheetBar, format_sheet, with_digest
from arranger.sheet.bar_edits.structure import delete_bars
from arranger.sheet.bar_edits.which_bars import Chosen
from arranger.sheet.form.as_bars import written_out
from arranger.sheet.form.parse import scan
from arranger.sheet.merging.merge import merge
from arranger.sheet.merging.pieces import in_order
from arranger.sheet.model import Generated
from arranger.sheet.record.base import base_of, with_base, with_base_bars
from arranger.sheet.record.packed_sheet import pack_record, unpack_record
from arranger.sheet.tidy import tidied
from arranger.song import read_song

from . import edits
from .strategies import sheets

SONGS = sorted((Path(__file__).parents[2] / "demo_songs").glob("*.mid"))


@profile(max_examples=40)
@given(sheets(), st.integers(-60, 60), st.data())
def test_a_record_is_read_back_exactly(sheet: Sheet, transpose: int, data: st.DataObject) -> None:
    numbers = st.lists(
        st.none() | st.integers(-5, 999), min_size=len(sheet.bars), max_size=len(sheet.bars)
    )
    standing = data.draw(st.none() | numbers)
    found = unpack_record(pack_record(sheet, transpose, standing))
    assert found is not None
    of_origin = {"source_file": "", "source_sha256": "", "settings": "", "digest": ""}
    assert found.sheet == replace(sheet, generated=None, **of_origin)
    assert found.transpose == transpose
    own = tuple(bar.number for bar in sheet.bars)
    assert found.standing == (own if standing is None else tuple(standing))
    assert pack_record(sheet, transpose, standing) == pack_record(sheet, transpose, standing)


SONG = with_digest(edits.generated(random.Random(4), bars=9))


@profile(max_examples=50)
@given(st.data())
def test_a_damaged_record_is_told_of_once_and_loses_nothing(data: st.DataObject) -> None:
    text = format_sheet(SONG)
    lines = text.splitlines(keepends=True)
    record = [at for at, line in enumerate(lines) if line.startswith("generated")]
    at = data.draw(st.sampled_from(record))
    what = data.draw(st.sampled_from(["taken out", "twice", "a letter", "another word", "bits"]))
    if what == "taken out":
        del lines[at]
    elif what == "twice":
        lines.insert(at, lines[at])
    elif what == "another word":
        lines[at] = lines[at].replace(" sheet ", " sheat ")
    else:
        word = lines[at].split()[2]
        place = data.draw(st.integers(0, len(word) - 1))
        other = data.draw(st.sampled_from("AbZ9+/" if what == "a letter" else "=-*é"))
        changed = word[:place] + other + word[place + 1 :]
        lines[at] = lines[at].replace(word, changed)
    found = scan("".join(lines))
    if "".join(lines) == text:
        return
    told = [problem for problem in found.problems if problem.code == "digests"]
    assert len(told) == len(found.problems) <= 1
    base = base_of(found.sheet)
    if told:
        assert "all bars count as edited" in told[0].what
        assert told[0].line == (at if what == "another word" else record[0]) + 1
        assert found.sheet.generated is None
        assert not base.known
        changed_now = edits.transposed(SONG, 2)
        assert merge(found.sheet, changed_now).sheet.voice1 == SONG.voice1
    else:  # all of its lines are gone, or only what base64 pads with was changed
        assert found.sheet.generated is None or base.sheet == base_of(SONG).sheet


def test_a_record_holds_every_pitch() -> None:
    sheet = replace(
        SONG, bars=(SheetBar(1, 128, 32, 4),), voice1=tuple(range(128)), voice2=(REST,) * 128,
        drums=(None,) * 128, loop_step=None, comments=(), generated=None,
    )  # fmt: skip
    found = unpack_record(pack_record(sheet, 0, None))
    assert found is not None
    assert found.sheet.voice1 == sheet.voice1


@pytest.mark.parametrize(
    "told",
    ['{}', '[]', '{"form":1,"step":"1","bars":[[1,99999999,4,4,9]],"rows":[]}', '{"form":2}',
     '{"form":1,"step":"1","bars":[[1,1,4,4,1]],"rows":[[["("],[7]],[["("],[0]],[["."],[0]]]}',
     '{"form":1,"step":"0/0","bars":[],"rows":[[[],[]],[[],[]],[[],[]]]}', "no json"],
)  # fmt: skip
def test_what_was_packed_by_somebody_else_does_no_harm(told: str) -> None:
    import bz2
    from base64 import b64encode

    record = Generated(b64encode(bz2.compress(told.encode())).decode())
    assert unpack_record(record) is None
    edited = replace(SONG, title="mine", generated=record)
    assert merge(edited, SONG).sheet.title == "mine"


def test_a_record_takes_a_small_part_of_the_sheet() -> None:
    for song in SONGS:
        sheet = convert(read_song(song), load_engine("twin-phase"), Settings()).sheet
        assert isinstance(sheet.generated, Generated)
        assert len(sheet.generated.packed) < len(format_sheet(sheet)) / 6


def test_what_bars_commands_note_is_known_again() -> None:
    base = base_of(SONG)
    swapped = with_base(SONG, in_order(base.sheet, [1, 0, *range(2, 9)]), 3, [1, 0, *range(2, 9)])
    found = base_of(swapped)
    assert found.transpose == 3
    assert [bar.number for bar in found.sheet.bars] == [2, 1, *range(3, 10)]
    assert found.places == (2, 1, *range(3, 10))


def test_of_two_bars_of_a_number_the_one_with_its_tones_is_the_generated_one() -> None:
    def little(*voices: tuple[int, ...], numbers: tuple[int, ...]) -> Sheet:
        bars = [SheetBar(number, 4, 4, 4) for number in numbers]
        empty = (REST,) * 4, (None,) * 4
        return edits.joined(plain, bars, [(voice, *empty) for voice in voices])

    plain = Sheet(title="", engine="twin-phase", step_beats=Fraction(1), bars=(), voice1=(),
                  voice2=(), drums=(), tempo=120.0)  # fmt: skip
    first, second, third = (64, HOLD, 65, HOLD), (60, HOLD, 62, HOLD), (67, HOLD, 65, HOLD)
    plain = with_digest(little(first, second, third, numbers=(1, 2, 3)))
    put_in, shortened = (70, HOLD, 71, HOLD), (60, REST, 62, REST)
    hand = little(first, put_in, shortened, third, numbers=(1, 2, 2, 3))
    assert base_of(hand).matched == (0, None, 1, 2)


def test_a_bar_that_was_taken_out_before_is_not_found_again_in_one_typed_alike() -> None:
    plain = with_digest(edits.generated(random.Random(9), bars=6))
    taken = delete_bars(plain, Chosen(3, 4)).sheet
    rows, bars = edits.contents(taken), list(taken.bars)
    rows.insert(3, edits.contents(plain)[3])
    bars.insert(3, plain.bars[3]._replace(as_bar=None))
    assert base_of(edits.joined(taken, bars, rows)).matched == (0, 1, 2, None, 4, 5)


def test_bars_that_were_spread_count_as_generated() -> None:
    sheet = with_digest(replace(SONG, bars=written_out(SONG.bars)), 3)
    rows = edits.contents(sheet)
    written = {at: edits.random_content(random.Random(at), sheet.bars[at].steps) for at in (2, 5)}
    rows[2], rows[5] = written[2], written[5]
    edited = edits.joined(sheet, list(sheet.bars), rows)
    base = base_of(edited)
    assert [a != b for a, b in zip(base.contents, base.standing, strict=True)].count(True) == 2
    found = base_of(with_base_bars(edited, base, written))
    assert found.contents == found.standing
    assert found.known
    assert found.transpose == base.transpose == 3


def test_bars_that_tidying_numbers_anew_are_still_known() -> None:
    """A bar is put in before bar 3, of which the tune is written anew, as in bar 6; then all are numbered anew."""
    rng = random.Random(3)
    then = edits.generated(rng, bars=8)
    rows, bars = edits.contents(then), list(then.bars)
    for bar in (2, 5):
        rows[bar] = (edits.random_content(rng, bars[bar].steps)[0], *rows[bar][1:])
    rows.insert(2, edits.random_content(rng, bars[2].steps))
    bars.insert(2, bars[2])
    edited = replace(edits.joined(then, bars, rows), comments=())
    known = base_of(edited).matched
    assert known == (0, 1, None, 2, 3, 4, 5, 6, 7)
    tidy = tidied(edited).sheet
    assert [bar.number for bar in tidy.bars] == list(range(1, 10))
    assert base_of(tidy).matched == known
    changed = edits.random_content(rng, tidy.bars[3].steps)
    rows[3] = rows[6] = changed  # and once more by hand
    assert base_of(edits.joined(tidy, list(tidy.bars), rows)).matched == known
