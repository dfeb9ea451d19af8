"""Records as bytes, after a look at what a routine couldn't read or play.

A field whose bits aren't whole bytes makes one number with those that follow it, the first in the
highest bits, until they fill bytes; each number is written in the layout's byte order.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from arranger.engine.layout import tone_fault
from arranger.errors import SheetError
from arranger.sheet.played import place_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from arranger.engine.layout import Layout, LayoutField
    from arranger.machine.layout.data_plan import DataPlan, DataRecord
    from arranger.sheet.model import Sheet

_MARKS = ("end", "again", "pattern_end", "loop_mark")


class Number(NamedTuple):
    """What stands in some bytes."""

    content: bytes
    label: str = ""
    """What it is the address of, where it is nothing else."""


def encode(plan: DataPlan, sheet: Sheet) -> list[list[Number]]:
    """Return the numbers of each record of a plan of a sheet.

    Raises `SheetError` if the layout can't hold something of the song, or a routine couldn't tell
    it apart.
    """
    _check_whole(plan)
    written = []
    for entry in plan.entries:
        try:
            written.append(list(_numbers(plan, entry)))
        except SheetError as error:
            if entry.kind in ("step", "event", "order"):
                error.place = place_of(sheet, entry.step)
            raise
    _check_marks(plan, written, sheet)
    return written


def joined_bytes(written: Sequence[Sequence[Number]]) -> bytes:
    """Return all of the bytes."""
    return b"".join(number.content for record in written for number in record)


def _check_whole(plan: DataPlan) -> None:
    layout = plan.layout
    if fault := tone_fault(layout, plan.tones, plan.drums):
        raise SheetError(fault[1], remedy=fault[2])
    if plan.lost and layout.drums.other == "error":
        name, times = next(iter(plan.lost.items()))
        raise SheetError(
            f"the drum {name!r}, on {times} steps, has no code in [export]",
            remedy='add it to export.drums.codes, or say other = "silent"',
        )
    tells = {field.value for field in layout.music} & {"last"} | {
        field.value for field in (*layout.pattern_list, *layout.order)
    } & {"steps", "records"}
    lengths = sorted(set(plan.lengths))
    if len(lengths) > 1 and not layout.pattern_end and not tells:
        raise SheetError(
            f"its patterns have {lengths[0]} to {lengths[-1]} steps, and nothing in [export] says so",
            remedy="add pattern_end, or pattern_steps if all shall be as long",
        )
    if plan.splits_pattern:
        raise SheetError(
            f"its loop isn't at the beginning of a pattern of {layout.pattern_steps} steps",
            remedy="move the loop, or take patterns by bars: leave pattern_steps out",
        )
    if plan.filled and "loop" in plan.numbers:
        raise SheetError(
            f"{plan.filled} steps are missing in its last pattern of {layout.pattern_steps}, "
            "and silence there would be heard before the loop",
            remedy="fill the bars, or take patterns by bars: leave pattern_steps out",
        )


def _numbers(plan: DataPlan, entry: DataRecord) -> Iterator[Number]:
    if entry.kind == "fill":
        yield Number(bytes((plan.layout.fill,)) * entry.numbers["bytes"])
        return
    number = bits = 0
    for field in plan.layout.record(entry.kind):
        if field.when and not entry.numbers[field.when]:
            continue
        width = plan.layout.width(field)
        label = (
            _label(entry, field.value) if bits == 0 and (field.times, field.add) == (1, 0) else ""
        )
        number = number << width | _written(plan, entry, field)
        bits += width
        if bits % 8 == 0:
            yield Number(_ordered(plan.layout, number, bits), label if label in plan.labels else "")
            number = bits = 0


def _written(plan: DataPlan, entry: DataRecord, field: LayoutField) -> int:
    """Return the number that a field holds."""
    layout, value = plan.layout, field.value
    if value == "number":
        return field.number
    if value in ("loop", "loop_address") and "loop" not in plan.numbers:
        number = layout.limit(field) if layout.no_loop < 0 else layout.no_loop
    elif value in entry.codes:
        number = entry.numbers[value]
    else:
        label = _label(entry, value)
        known = {**plan.numbers, **entry.numbers}
        number = layout.base + plan.labels[label] if label else known[value]
        number = number * field.times + field.add
    if not 0 <= number <= layout.limit(field):
        raise SheetError(
            f"{value} would be {number:,} in the {entry.kind} of [export], "
            f"which takes 0 to {layout.limit(field):,}",
            remedy="give the field more bits, or make the song shorter",
        )
    return number


def _label(entry: DataRecord, value: str) -> str:
    """Return the label that an address is of; "": the value is no address."""
    if value == "pattern_address":
        return f"pattern {entry.numbers['pattern']}"
    return value.removesuffix("_address") if value.endswith("_address") else ""


def _check_marks(plan: DataPlan, written: Sequence[Sequence[Number]], sheet: Sheet) -> None:
    """Refuse a record that begins as a mark which may stand in its place."""
    content = joined_bytes(written)
    ordered = bool(plan.layout.order)
    marks = {kind: _constant(plan.layout, kind) for kind in _MARKS}
    for kind, mark in marks.items():
        lists = ("order",) if ordered and kind != "pattern_end" else ("step", "event")
        for entry, (start, _) in zip(plan.entries, pairwise(plan.offsets), strict=True):
            if mark and entry.kind in lists and content.startswith(mark, start):
                raise SheetError(
                    f"is written {mark.hex(' ').upper()}, as {kind} is in [export]",
                    place=place_of(sheet, entry.step),
                    remedy=f"choose another {kind}, or other codes",
                )


def _constant(layout: Layout, kind: str) -> bytes:
    """Return the bytes that a record always begins with."""
    found = b""
    number = bits = 0
    for field in layout.record(kind):
        if field.value != "number":
            break
        number = number << layout.width(field) | field.number
        bits += layout.width(field)
        if bits % 8 == 0:
            found += _ordered(layout, number, bits)
            number = bits = 0
    return found


def _ordered(layout: Layout, number: int, bits: int) -> bytes:
    return number.to_bytes(bits // 8, "little" if layout.byte_order == "low-first" else "big")
