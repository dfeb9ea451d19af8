"""What was written of a song, in words: where it lies, and what couldn't be said."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from arranger.machine.layout.data_plan import DataPlan
    from arranger.sheet.model import Sheet


def map_lines(plan: DataPlan, sheet: Sheet) -> Iterator[str]:
    """Yield a line for each block, one on the loop if there is one, and one for each loss."""
    layout, told = plan.layout, plan.numbers
    yield f"{plan.bytes:,} bytes of song data, by offset:"
    kind = "step" if layout.step else "event"
    music = _count(told["records"], kind)
    named = {
        "header": "header",
        "pitches": _count(told["tones"], "pitch"),
        "pattern_list": f"list of {_count(told['patterns'], 'pattern')}",
        "order": f"order list, {_count(told['entries'], 'entry')}",
        "music": f"{_count(told['patterns'], 'pattern')}, {music}" if layout.order else music,
    }
    there = [block for block in layout.blocks if getattr(layout, block)]
    ends = [*(plan.labels[block] for block in there[1:]), plan.bytes]
    for block, end in zip(there, ends, strict=True):
        yield f"{_place(plan, block)}  {named[block]}: {end - plan.labels[block]:,} bytes"
    if "loop" in told:
        what = "order entry" if layout.order else kind
        yield f"{_place(plan, 'loop')}  loop: {what} {told['loop']:,} (counted from 0)"
        if not _tells_loop(plan):
            yield "the loop is left out: no field of [export] tells it"
    if plan.filled:
        yield f"the last pattern is filled with silence: {_count(plan.filled, 'step')}"
    for name, times in plan.lost.items():
        yield f"drum {name} has no code: it is missing on {_count(times, 'step')}"
    own = {sound.name for sound in sheet.sounds} & {*plan.drums} & {*filter(None, sheet.drums)}
    for name in sorted(own):
        yield f"drum {name}: the routine's own sound, not the one that the sheet defines"


def _count(number: int, what: str) -> str:
    many = {"pitch": "pitches", "entry": "entries"}.get(what, f"{what}s")
    return f"{number:,} {what if number == 1 else many}"


def _place(plan: DataPlan, label: str) -> str:
    at = plan.labels[label]
    return f"{at:>6}" + (f" ({plan.layout.base + at:#06x})" if plan.layout.base else "")


def _tells_loop(plan: DataPlan) -> bool:
    layout = plan.layout
    records = (*layout.header, *layout.end)
    by_field = any(field.value in ("loop", "loop_address") for field in records)
    return by_field or bool(layout.loop_mark or layout.again)
