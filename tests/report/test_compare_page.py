"""The page of two conversions: what it says of them, and for which it refuses to be made."""

from __future__ import annotations

import shutil
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from arranger.cli.app import run
from arranger.conversion import convert
from arranger.errors import SheetError
from arranger.options import build_settings
from arranger.reduce.ledger import columns_of
from arranger.report import bar_losses, ranking
from arranger.report.pages.compare_page import BarPair, Compared, bar_pairs, compare_page_pieces
from tests.report.conftest import DEMO_SONGS

if TYPE_CHECKING:
    from pathlib import Path

    from arranger.conversion import Conversion


def test_bars_that_are_heard_better_in_one_say_in_which_and_what_each_lacks(
    hand: Conversion,
) -> None:
    entries = list(hand.reduction.ledger.entries)
    entries[6] = entries[6]._replace(outcome="kept", reasons=())
    ledger = replace(hand.reduction.ledger, columns=columns_of(tuple(entries)))
    better = replace(hand, reduction=replace(hand.reduction, ledger=ledger))
    lacks = ranking(hand)[0].sentence, ranking(better)[0].sentence
    assert lacks[0].endswith(lacks[1])
    found = bar_pairs(hand, better)
    assert found == (BarPair(((0, "bar 1"),), "B", "tune 83 to 100 %", lacks),)
    assert bar_pairs(better, hand)[0][1:3] == ("A", "tune 100 to 83 %")
    assert bar_pairs(hand, hand) == ()


def test_alike_bars_stand_together_the_greatest_difference_first(parade: Conversion) -> None:
    plain = build_settings({"texture": "tune-and-bass"}, parade.settings)
    other = convert(parade.song, parade.engine, plain)
    found = bar_pairs(parade, other)
    assert any(len(pair.bars) > 1 for pair in found)
    sides = zip(bar_losses(parade), bar_losses(other), strict=True)
    apart = [abs(one.loss - two.loss) for one, two in sides]
    most = [max(apart[bar] for bar, _ in pair.bars) for pair in found]
    assert most == sorted(most, reverse=True)
    assert len(set(most)) > 1


def test_two_songs_are_no_pair(hand: Conversion, waltz: Conversion) -> None:
    with pytest.raises(SheetError, match="made from different songs"):
        next(compare_page_pieces(Compared("a", hand), Compared("b", waltz)))


def test_the_command_writes_it_beside_the_second_sheet(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    song = shutil.copy(DEMO_SONGS / "ferry_waltz.mid", tmp_path)
    sheets = []
    for name, words in (("a", ()), ("b", ("--texture", "broken-chord"))):
        out = tmp_path / name
        words = (*words, "--no-audio", "--no-suggestions", "-o", str(out))
        assert run(["convert", song, *words]) == 0
        sheets.append(str(out / "ferry_waltz.duet"))
    capsys.readouterr()
    assert run(["compare", *sheets, "--page"]) == 0
    page = tmp_path / "b" / "ferry_waltz.compare.html"
    assert capsys.readouterr().out == f"wrote {page}\n"
    text = page.read_text()
    assert f"A: {sheets[0]}" in text
    assert "From A to B: harmony 64 to 95 %" in text
    assert run(["compare", *sheets, "--page", "-o", sheets[0]]) == 1
    assert run(["compare", *sheets, "--page", "--json"]) == 2
    assert run(["compare", *sheets, "-o", str(page)]) == 2
