"""Song data as text: for an assembler, in the way it wants numbers and directives, or as C."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING, NamedTuple

from arranger.engine.layout import BLOCKS
from arranger.machine.c_export import comment, identifier

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from arranger.engine.layout import Text
    from arranger.machine.layout.data_plan import DataPlan
    from arranger.machine.layout.encode import Number
    from arranger.sheet.model import Sheet

_A_LINE = 16

_HEX: dict[str, Callable[[int, int], str]] = {
    "0x12": lambda value, digits: f"0x{value:0{digits}X}",
    "$12": lambda value, digits: f"${value:0{digits}X}",
    "12h": lambda value, digits: f"0{value:0{digits}X}h",
    "#12": lambda value, digits: f"#{value:0{digits}X}",
    "&12": lambda value, digits: f"&{value:0{digits}X}",
    "18": lambda value, _: str(value),
}


class _Line(NamedTuple):
    """Records that stand together."""

    labels: tuple[str, ...]
    """Of the first of them."""
    comment: str
    numbers: tuple[Number, ...]


def data_source(plan: DataPlan, written: Sequence[Sequence[Number]], sheet: Sheet) -> bytes:
    """Return the data as assembler text in ASCII, with a label for each block and pattern."""
    text, name = plan.layout.text, identifier(sheet.title)
    lines = [f"{text.comment} {comment(sheet.title)}: {plan.bytes} bytes, written by arranger."]
    if plan.layout.base or plan.layout.align:
        at = _HEX[text.hex](plan.layout.base, 4)
        lines.append(f"{text.comment} Its first byte belongs at {at}.")
    for line in _lines(plan, written):
        lines += [f"{name}_{label}{':' * text.colon}" for label in line.labels]
        first, *others = [*_directives(line.numbers, text, name), ""]
        lines.append(f"{first:50} {text.comment} {line.comment}" if line.comment else first)
        lines += others[:-1]
    return ("\n".join(line.rstrip() for line in lines if line) + "\n").encode("ascii")


def c_source(plan: DataPlan, written: Sequence[Sequence[Number]], sheet: Sheet) -> bytes:
    """Return the data as an array in C, with the offset of each block and pattern."""
    name = identifier(sheet.title)
    lines = [
        f"/* {comment(sheet.title)}: {plan.bytes} bytes, written by arranger. */",
        "#include <stdint.h>",
        "",
        *(f"#define {name.upper()}_{label.upper()} {at}u" for label, at in _labels(plan).items()),
        "",
        f"static const uint8_t {name}_data[{plan.bytes}] = {{",
    ]
    for line in _lines(plan, written):
        lines += [f"    /* {line.comment} */"] * bool(line.comment)
        content = b"".join(number.content for number in line.numbers)
        for start in range(0, len(content), _A_LINE):
            told = ", ".join(f"0x{byte:02X}" for byte in content[start : start + _A_LINE])
            lines.append(f"    {told},")
    return ("\n".join([*lines, "};"]) + "\n").encode("ascii")


def _labels(plan: DataPlan) -> dict[str, int]:
    """Return the offsets of what is there, by the end of its label."""
    blocks = [block for block in BLOCKS if not getattr(plan.layout, block)]
    return {label.replace(" ", "_"): at for label, at in plan.labels.items() if label not in blocks}


def _lines(plan: DataPlan, written: Sequence[Sequence[Number]]) -> Iterator[_Line]:
    labels: dict[int, list[str]] = {}
    for label, at in _labels(plan).items():
        labels.setdefault(at, []).append(label)
    line = _Line((), "", ())
    for entry, at, numbers in zip(plan.entries, plan.offsets, written, strict=False):
        long = sum(len(number.content) for number in (*line.numbers, *numbers)) > _A_LINE
        if entry.comment or at in labels or long:
            yield line
            line = _Line(tuple(labels.pop(at, ())), entry.comment, ())
        line = line._replace(numbers=(*line.numbers, *numbers))
    yield line
    yield _Line(tuple(labels.pop(plan.bytes, ())), "", ())


def _is_word(number: Number) -> bool:
    return bool(number.label) and len(number.content) == 2


def _directives(numbers: Sequence[Number], text: Text, name: str) -> Iterator[str]:
    """Yield the lines that define some numbers: addresses of 16 bits as words, all else as bytes."""
    for is_word, together in groupby(numbers, _is_word):
        if is_word:
            told = ", ".join(f"{name}_{number.label.replace(' ', '_')}" for number in together)
            yield f"        {text.words} {told}"
            continue
        content = b"".join(number.content for number in together)
        for start in range(0, len(content), _A_LINE):
            bytes_ = (_HEX[text.hex](byte, 2) for byte in content[start : start + _A_LINE])
            yield f"        {text.bytes} {', '.join(bytes_)}"
