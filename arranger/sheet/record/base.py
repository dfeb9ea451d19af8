"""What was generated, beneath an edited sheet: nothing else reads the record that a sheet carries.

Sheets of today carry the generated sheet itself, packed. Those of earlier versions carry digests: of
them a bar is known if it, or one that was generated alike, still stands as it was.
"""

from __future__ import annotations

import shlex
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from arranger.rows import HOLD, REST
from arranger.sheet.model import BarDigest, Digests, Sheet, SheetBar, joined_rows
from arranger.sheet.record.align import match_bars
from arranger.sheet.record.digest import bar_contents, bar_digests, sounds_digest, value_digest
from arranger.sheet.record.packed_sheet import pack_record, unpack_record

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from arranger.sheet.model import Rows
    from arranger.sheet.record.packed_sheet import Keys

_LEAST_ALIKE = 0.5
_EQUAL = 1.9


@dataclass(frozen=True, slots=True, kw_only=True)
class Base:
    """The generated sheet beneath an edited one, as far as it is known."""

    sheet: Sheet
    """A bar that isn't known has the cells of the edited bar in its place, or is silent."""
    known: tuple[bool, ...]
    """For each of its bars, whether it was generated just so."""
    contents: tuple[str, ...]
    """For each of its bars a digest of what it plays, to be compared with `standing`."""
    standing: tuple[str, ...]
    """The same of the edited sheet's bars."""
    matched: tuple[int | None, ...]
    """For each bar of the edited sheet its index in this one, rising; None: put in by hand."""
    transpose: int | None
    """By how many semitones the song was moved; None: not known."""
    loop_known: bool
    places: tuple[int | None, ...] = ()
    """For each of its bars the number that it had in the edited sheet when the program last wrote it;
    None: it wasn't in it. Nothing is known of that in sheets of earlier versions."""
    written: tuple[int, ...] = ()
    """The numbers of all bars of the edited sheet then: as long as they are these, bars are known by
    them."""
    keys: Keys = ()
    """For each of its bars the key that the song names; empty: none."""
    digests: Digests | None = None
    """What is known of the header, if not the values themselves."""

    @property
    def whole(self) -> bool:
        """Whether all of it is known, with its header and comments."""
        return self.digests is None and all(self.known)

    def has(self, word: str, of: Sheet) -> bool:
        """Return whether a sheet's title, engine, speed or sounds are as they were generated."""
        if self.digests is not None:
            now = {
                "title": value_digest(of.title),
                "engine": value_digest(of.engine),
                "speed": value_digest(of.speed),
                "sounds": sounds_digest(of),
            }
            return bool(getattr(self.digests, word) == now[word])
        if not self.whole:
            return False
        return bool(getattr(self.sheet, word) == getattr(of, word))


def base_of(sheet: Sheet) -> Base:
    """Return what was generated beneath a sheet; of one written by hand no bar is known."""
    record = sheet.generated
    if isinstance(record, Digests):
        return _of_digests(sheet, record)
    found = None if record is None else unpack_record(record)
    numbers = [bar.number for bar in sheet.bars]
    standing = bar_contents(sheet)
    if found is None:
        return Base(
            sheet=replace(sheet, generated=None, comments=(), sounds=()),
            known=(False,) * len(numbers),
            contents=("",) * len(numbers),
            standing=standing,
            matched=tuple(range(len(numbers))),
            transpose=None,
            loop_known=False,
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
        known=(True,) * len(contents),
        contents=contents,
        standing=standing,
        matched=tuple(matched),
        transpose=transpose,
        loop_known=True,
        places=places,
        written=written,
        keys=keys,
    )


def with_base_bars(sheet: Sheet, base: Base, rows: Mapping[int, Rows]) -> Sheet:
    """Return the sheet with bars of its base taken to have been generated otherwise.

    Parameters
    ----------
    sheet, base
        The sheet and its base.
    rows
        The rows of bars of the base, by index; as long as they were.
    """
    bars = enumerate(base.sheet.bar_rows)
    then = base.sheet.with_rows(joined_rows(rows.get(i, generated) for i, generated in bars))
    if base.digests is None:
        record = pack_record(then, base.transpose or 0, base.places, base.written, base.keys)
        return replace(sheet, generated=record)
    digests = bar_digests(then)
    told = [
        bar._replace(digest=digests[i]) if i in rows else bar
        for i, bar in enumerate(base.digests.bars)
    ]
    return replace(sheet, generated=base.digests._replace(bars=tuple(told)))


def with_base(
    sheet: Sheet,
    then: Sheet,
    transpose: int | None,
    matched: Sequence[int | None],
    keys: Keys = (),
) -> Sheet:
    """Return the sheet with another base, and a note in it of which bar is which.

    For programs that put bars in, take them out, move them or number them anew: edits made later are
    known by the numbers that bars have now.

    Parameters
    ----------
    sheet
        The sheet as it is to be written. Its numbers rise.
    then, transpose
        The base, and by how many semitones its song was moved.
    matched
        For each bar of the sheet the index in the base, or None.
    keys
        `Base.keys`.
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


def _of_digests(sheet: Sheet, record: Digests) -> Base:
    standing = bar_digests(sheet)
    matched = match_bars(record.bars, standing, [bar.number for bar in sheet.bars])
    somewhere = {digest: j for j, digest in enumerate(standing)}
    sources: list[int | None] = [None] * len(record.bars)
    for j, i in enumerate(matched):
        if i is not None:
            sources[i] = j
    for i, bar in enumerate(record.bars):
        place = sources[i]
        if place is None or standing[place] != bar.digest:
            sources[i] = somewhere.get(bar.digest, place)
    known = tuple(bar.digest in somewhere for bar in record.bars)
    then = _with_bars(sheet, sources, [bar.number for bar in record.bars])
    loop = _loop(sheet, then, sources, known)
    return Base(
        sheet=replace(then, loop_step=loop),
        known=known,
        contents=tuple(bar.digest for bar in record.bars),
        standing=standing,
        matched=tuple(matched),
        transpose=_asked_transpose(sheet.settings),
        loop_known=loop is not None or all(known),
        digests=record,
    )


def _with_bars(sheet: Sheet, sources: Sequence[int | None], numbers: Sequence[int]) -> Sheet:
    """Return a sheet of some of the bars of another; those without a source are silent."""
    rows = sheet.bar_rows
    silent: Rows = ((REST,), (REST,), (None,))
    metres = [(1, 4, 4) if j is None else sheet.bars[j][1:4] for j in sources]
    return replace(
        sheet.with_rows(joined_rows(silent if j is None else rows[j] for j in sources)),
        bars=tuple([SheetBar(n, *metre) for n, metre in zip(numbers, metres, strict=True)]),
        loop_step=None,
        generated=None,
        comments=(),
    )


def _loop(
    sheet: Sheet, then: Sheet, sources: Sequence[int | None], known: Sequence[bool]
) -> int | None:
    """Return the step that a loop mark was generated on; it stands in the digest of its bar."""
    loops = sheet.bar_loops
    for i, j in enumerate(sources):
        step = None if j is None or not known[i] else loops[j]
        if step is not None:
            return then.bar_starts[i] + step
    return None


def _asked_transpose(settings: str) -> int | None:
    """Return what the options that made a sheet say of the key.

    None where the program chose, or a hand wrote what can't be read.
    """
    try:
        words = shlex.split(settings)
        return int(words[words.index("--transpose") + 1]) if "--transpose" in words else 0
    except (ValueError, IndexError):
        return None
