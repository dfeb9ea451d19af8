"""What was generated, beneath an edited sheet: nothing else reads the record that a sheet carries."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from arranger.rows import HOLD, REST
from arranger.sheet.model import Sheet, joined_rows
from arranger.sheet.record.align import BarDigest, match_bars
from arranger.sheet.record.digest import bar_contents
from arranger.sheet.record.packed_sheet import pack_record, unpack_record

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from arranger.sheet.model import Rows
    from arranger.sheet.record.packed_sheet import Keys

_LEAST_ALIKE = 0.5
_EQUAL = 1.9


@dataclass(frozen=True, slots=True, kw_only=True)
class Base:
    """The generated sheet beneath an edited one."""

    sheet: Sheet
    """Where it isn't known the edited one, without its comments and sounds."""
    known: bool
    contents: tuple[str, ...]
    """For each of its bars a digest of what it plays, to be compared with `standing`."""
    standing: tuple[str, ...]
    """The same of the edited sheet's bars."""
    matched: tuple[int | None, ...]
    """For each bar of the edited sheet its index in this one, rising; None: put in by hand."""
    transpose: int | None
    """By how many semitones the song was moved; None: not known."""
    places: tuple[int | None, ...] = ()
    """For each of its bars the number that it had in the edited sheet when the program last wrote it;
    None: it wasn't in it."""
    written: tuple[int, ...] = ()
    """The numbers of all bars of the edited sheet then: as long as they are these, bars are known by
    them."""
    keys: Keys = ()
    """For each of its bars the key that the song names; empty: none."""

    def has(self, word: str, of: Sheet) -> bool:
        """Return whether a sheet's title, engine, speed or sounds are as they were generated."""
        return self.known and bool(getattr(self.sheet, word) == getattr(of, word))


def base_of(sheet: Sheet) -> Base:
    """Return what was generated beneath a sheet; of one written by hand no bar is known."""
    record = sheet.generated
    found = None if record is None else unpack_record(record)
    numbers = [bar.number for bar in sheet.bars]
    standing = bar_contents(sheet)
    if found is None:
        return Base(
            sheet=replace(sheet, generated=None, comments=(), sounds=()),
            known=False,
            contents=("",) * len(numbers),
            standing=standing,
            matched=tuple(range(len(numbers))),
            transpose=None,
        )
    then, transpose, places, written, keys = found
    contents = bar_contents(then)
    by_number = {number: i for i, number in enumerate(places) if number is not None}
    matched: Sequence[int | None]
    if [*written] == numbers and len({*numbers}) == len(numbers):
        matched = [by_number.get(number) for number in numbers]
    else:
        generated = [
            # no bar of a sheet has this content, so one that was taken out before isn't found again
            BarDigest(-1 if number is None else number, "" if number is None else digest)
            for number, digest in zip(places, contents, strict=True)
        ]
        matched = match_bars(generated, standing, numbers, _likeness(then, sheet, places))
    return Base(
        sheet=then,
        known=True,
        contents=contents,
        standing=standing,
        matched=tuple(matched),
        transpose=transpose,
        places=places,
        written=written,
        keys=keys,
    )


def with_base_bars(sheet: Sheet, base: Base, rows: Mapping[int, Rows]) -> Sheet:
    """Return the sheet with bars of its base taken to have been generated otherwise.

    ``rows``: the rows of bars of the base, by index; as long as they were.
    """
    bars = enumerate(base.sheet.bar_rows)
    then = base.sheet.with_rows(joined_rows(rows.get(i, generated) for i, generated in bars))
    record = pack_record(then, base.transpose or 0, base.places, base.written, base.keys)
    return replace(sheet, generated=record)


def with_base(
    sheet: Sheet, then: Sheet, transpose: int | None, matched: Sequence[int | None], keys: Keys = ()
) -> Sheet:
    """Return the sheet with another base, and a note in it of which bar is which.

    For programs that put bars in, take them out, move them or number them anew: edits made later are
    known by the numbers that bars have now.

    ``sheet``: the sheet as it is to be written. Its numbers rise.
    ``then``, ``transpose``: the base, and by how many semitones its song was moved.
    ``matched``: for each bar of the sheet the index in the base, or None.
    ``keys``: `Base.keys`.
    """
    places: list[int | None] = [None] * len(then.bars)
    for bar, i in zip(sheet.bars, matched, strict=True):
        if i is not None:
            places[i] = bar.number
    numbers = [bar.number for bar in sheet.bars]
    return replace(sheet, generated=pack_record(then, transpose or 0, places, numbers, keys))


def _likeness(
    then: Sheet, sheet: Sheet, places: Sequence[int | None]
) -> Callable[[int, int], float]:
    """Return what tells how likely two bars are the same one: nearly 3, less than 0 for not at all.

    A bar that plays the same is likelier than one of the same number, this likelier than any other.
    """
    old, new = _cells(then), _cells(sheet)

    def alike(i: int, j: int) -> float:
        if places[i] is None:
            return -1.0
        number = places[i] == sheet.bars[j].number
        if old[i] == new[j]:
            return _EQUAL + number
        matter = [pair for pair in zip(old[i], new[j], strict=False) if pair != (None, None)]
        share = sum(a == b for a, b in matter) / max(len(matter), 1)
        return share + number if number or share >= _LEAST_ALIKE else 0.0

    return alike


def _cells(sheet: Sheet) -> list[list[int | str | None]]:
    """Return for each bar the cells of its rows in which something starts, None in the others."""
    return [
        [
            None if cell in (HOLD, REST) else cell
            for step in zip(*rows, strict=True)
            for cell in step
        ]
        for rows in sheet.bar_rows
    ]
