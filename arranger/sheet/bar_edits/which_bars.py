"""Which bars and rows of a sheet somebody means."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple

from arranger.bars import parse_bars, spoken
from arranger.errors import SettingsError, UsageError, did_you_mean

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from arranger.sheet.model import Sheet

VOICES = (0, 1)
DRUMS = 2
ALL_ROWS = (0, 1, DRUMS)

ROW_NAMES = ("voice1", "voice2", "drums")

END = "end"
"""Stands for the place after the last bar."""

_NUMBERS = re.compile(r"\d+(-\d+)?", re.ASCII)
_NTH = re.compile(r"(?P<name>.+)\.(?P<nth>[1-9]\d{0,5})", re.ASCII)


class Chosen(NamedTuple):
    """Bars in a row, as indices into the bars of a sheet."""

    first: int
    end: int
    """The one after the last."""
    remark: str = ""
    """What should be told of how they were understood."""

    @property
    def keys(self) -> range:
        """The indices."""
        return range(self.first, self.end)


def bars_asked_for(sheet: Sheet, text: str) -> Chosen:
    """Return the bars of "5", "5-8", or of a section: "A", or "A.2" for the second that is called so.

    Raises `SettingsError` if the sheet hasn't all of these bars, or no such section; `UsageError`
    if the numbers run backwards, or there are several runs.
    """
    if "," in text:
        raise UsageError(f"{text!r} isn't one run of bars", remedy="give one, like 5-8")
    if not _NUMBERS.fullmatch(text.strip()):
        return _section(sheet, text.strip())
    first, last = parse_bars(text)
    numbers = [bar.number for bar in sheet.bars]
    found = [index for index, number in enumerate(numbers) if first <= number <= last]
    for number in (first, last):
        if number not in numbers:
            raise SettingsError(
                f"the sheet has no bar {number}",
                remedy=f"it has bars {min(numbers)} to {max(numbers)}",
            )
    if len(found) != found[-1] - found[0] + 1 or len({numbers[at] for at in found}) != len(found):
        raise SettingsError(
            f"the numbers of the bars {text} don't rise, so it isn't clear which are meant",
            remedy="arranger tidy numbers them anew",
        )
    return Chosen(found[0], found[-1] + 1)


def choose_several(sheet: Sheet, text: str) -> tuple[tuple[int, ...], str]:
    """Return the bars (indices, rising) of "4,8,13-16" or "A,C", and a remark.

    Raises `SettingsError` and `UsageError` as `bars_asked_for`.
    """
    chosen = [bars_asked_for(sheet, each) for each in text.split(",")]
    keys = {key for each in chosen for key in each.keys}
    return tuple(sorted(keys)), "; ".join(each.remark for each in chosen if each.remark)


def choose_place(sheet: Sheet, text: str) -> tuple[int, str]:
    """Return in front of which bar (index) something goes, and a remark on how that was understood.

    "17" is bar 17, or the end where the last bar is 16; "end" is the end; "A" the beginning of a
    section.

    Raises `SettingsError` if the sheet has no such bar or section.
    """
    word = text.strip()
    if word.lower() == END or word == str(sheet.bars[-1].number + 1):
        return len(sheet.bars), ""
    if "-" in word and _NUMBERS.fullmatch(word):
        raise UsageError(
            f"--to {word} is no place", remedy="give the bar in front of which it goes"
        )
    chosen = bars_asked_for(sheet, word)
    return chosen.first, chosen.remark


def choose_rows(names: Iterable[str]) -> tuple[int, ...]:
    """Return the rows (0, 1: the voices; 2: the drums) of names like "voice1"; all for no name.

    Raises `UsageError` if a row isn't called so.
    """
    found = set()
    for name in names:
        word = "".join(name.lower().split())
        word = f"voice{word}" if word in ("1", "2") else word
        if word not in ROW_NAMES:
            known = ", ".join(ROW_NAMES)
            remedy = did_you_mean(word, ROW_NAMES, f"choose from {known}")
            raise UsageError(f"there is no row {name!r}", remedy=remedy)
        found.add(ROW_NAMES.index(word))
    return tuple(sorted(found)) or ALL_ROWS


def numbered(sheet: Sheet, keys: Sequence[int]) -> str:
    """Return bars by their numbers: "bar 5", "bars 5-8"."""
    return spoken([sheet.bars[key].number for key in keys])


def rows_in_words(sheet: Sheet, keys: Sequence[int], rows: Sequence[int]) -> str:
    """Return rows of bars in words: "voice 1 of bars 5-8"; nothing is said of all rows."""
    bars = numbered(sheet, keys)
    if tuple(rows) == ALL_ROWS:
        return bars
    words = ["voice 1", "voice 2", "drums"]
    return f"{' and '.join(words[row] for row in rows)} of {bars}"


def _section(sheet: Sheet, text: str) -> Chosen:
    """Return the bars from a section mark to the next."""
    marks = [index for index, bar in enumerate(sheet.bars) if bar.section]
    names = [sheet.bars[index].section for index in marks]
    name, nth = text, 0
    if text.lower() not in {name.lower() for name in names} and (match := _NTH.fullmatch(text)):
        name, nth = match["name"], int(match["nth"])
    found = [at for at, known in zip(marks, names, strict=True) if known.lower() == name.lower()]
    if not found:
        otherwise = f"it has {', '.join(dict.fromkeys(names))}" if names else "it has none"
        remedy = did_you_mean(name, names, f"{otherwise}; give bars like 5-8, or a section's name")
        raise SettingsError(f"the sheet has no section {name!r}", remedy=remedy)
    if nth > len(found):
        several = "once" if len(found) == 1 else f"{len(found)} times"
        raise SettingsError(
            f"the section {name} comes {several}", remedy=f"give {name}.1 to {name}.{len(found)}"
        )
    first = found[max(nth, 1) - 1]
    end = next((at for at in marks if at > first), len(sheet.bars))
    remark = ""
    if not nth and len(found) > 1:
        remark = f"{name} is the first of {len(found)}, {numbered(sheet, range(first, end))}"
    return Chosen(first, end, remark)
