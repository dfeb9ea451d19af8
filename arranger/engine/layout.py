"""How a routine's song data looks: the table ``[export]`` of an engine's file.

The data are blocks, one after the other; a block is a row of records of one kind, and a record its
fields. Which kinds there are says how the music is told:

``step``
    One record a step; or
``event``
    one for steps in a row that sound alike, with their number (``length``).
``order``
    With it, bars that are alike are one pattern of such records, and the order list has a record
    for each bar. Without it, the records of the whole piece stand one after the other.

In a file a field may be a bare number or word: ``["voice1", 0]`` means ``[{ value = "voice1" },
{ number = 0 }]``. A field whose bits aren't whole bytes makes one number with those that follow,
the first in the highest bits, until they fill bytes.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Literal, NamedTuple

from arranger.pitch import pitch_name

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    # Not at run time: pydantic takes a tenth of a second to import.
    from pydantic import Field

Flag = Literal["", "new1", "new2", "hold1", "hold2", "rest1", "rest2", "hit", "last"]
"""1 where the voice changes, goes on as it is, is silent; a drum sounds; the record is the last of
the piece, of its pattern or of the order list. Else 0."""

_RECORDS = frozenset({"voice1", "voice2", "drum", "drum2", "drum3", "drum4", "last", "count",
                      "new1", "new2", "hold1", "hold2", "rest1", "rest2", "hit"})  # fmt: skip
_WHOLE = frozenset({
    "steps", "records", "count", "tones", "patterns", "entries", "loop", "pitches_address",
    "pattern_list_address", "order_address", "music_address", "loop_address", "end_address",
})  # fmt: skip
MEANT: Mapping[str, frozenset[str]] = {
    "header": _WHOLE,
    "pitches": frozenset({"setting", "midi"}),
    "pattern_list": frozenset({"pattern", "pattern_address", "steps", "records"}),
    "order": frozenset({"pattern", "pattern_address", "steps", "records", "last"}),
    "step": _RECORDS,
    "event": _RECORDS | {"length"},
    "pattern_end": frozenset(),
    "end": _WHOLE,
    "again": _WHOLE,
    "loop_mark": frozenset(),
}
"""The kinds of records, and what the fields of each may tell; a number any of them."""

Block = Literal["header", "pitches", "pattern_list", "order", "music"]
BLOCKS: tuple[Block, ...] = ("header", "pitches", "pattern_list", "order", "music")


class LayoutField(NamedTuple):
    """A field of a record."""

    value: Annotated[str, Field(max_length=40)] = "number"
    """A word of `MEANT`."""
    number: Annotated[int, Field(ge=0, le=0xFFFF_FFFF)] = 0
    """What stands there always, with the value "number"."""
    bits: Annotated[int, Field(ge=0, le=32)] = 0
    """0: the layout's."""
    times: Annotated[int, Field(ge=-65536, le=65536)] = 1
    add: Annotated[int, Field(ge=-0xFFFF_FFFF, le=0xFFFF_FFFF)] = 0
    """What is written is value * times + add. Codes of rest, hold and drums stand as they are."""
    most: Annotated[int, Field(ge=0, le=0xFFFF_FFFF)] = 0
    """The largest number that the routine takes; 0: what the bits hold. Longer events are split."""
    when: Flag = ""
    """The field is there only where this flag is 1; whole bytes."""


class ToneCodes(NamedTuple):
    """What the fields ``voice1`` and ``voice2`` say."""

    code: Literal["setting", "index", "midi"] = "setting"
    """What the routine counts with; the place in the table ``pitches``, or without it in the
    engine's pitch table; or the MIDI number."""
    first: Annotated[int, Field(ge=0, le=0xFFFF)] = 1
    """The index of the lowest pitch."""
    rest: Annotated[int, Field(ge=0, le=0xFFFF_FFFF)] = 0
    """The code for silence."""
    hold: Annotated[int, Field(ge=-1, le=0xFFFF_FFFF)] = -1
    """The code for a voice that goes on as before; -1: what it plays is said again."""


class DrumCodes(NamedTuple):
    """What the field ``drum`` says, and ``drum2`` to ``drum4``."""

    none: Annotated[int, Field(ge=0, le=0xFFFF_FFFF)] = 0
    """The code of a step without a drum."""
    codes: Mapping[
        str,
        Annotated[
            tuple[Annotated[int, Field(ge=0, le=0xFFFF_FFFF)], ...],
            Field(strict=False, min_length=1, max_length=4),
        ],
    ] = {}
    """By name, a number, or up to four for ``drum``, ``drum2`` and so on. None at all: the place in
    the engine's list, from 1."""
    other: Literal["error", "silent"] = "error"
    """What becomes of a drum without a code."""
    place: Literal["drum", "voice1", "voice2"] = "drum"
    """The field that its code stands in; a voice's: in place of the tone."""


class Text(NamedTuple):
    """How assembler text looks."""

    bytes: Annotated[str, Field(pattern=r"^[!-~]+( [!-~]+)?$", max_length=16)] = "defb"
    words: Annotated[str, Field(pattern=r"^[!-~]+( [!-~]+)?$", max_length=16)] = "defw"
    """For addresses of 16 bits; it has to have the layout's byte order."""
    hex: Literal["0x12", "$12", "12h", "#12", "&12", "18"] = "0x12"
    """How eighteen is written."""
    comment: Literal[";", "#", "//", "@"] = ";"
    colon: bool = True
    """Whether a colon follows a label."""


class Layout(NamedTuple):
    """How song data looks."""

    bits: Annotated[int, Field(ge=1, le=32)] = 8
    """Of a field that doesn't say."""
    byte_order: Literal["low-first", "high-first"] = "low-first"
    base: Annotated[int, Field(ge=0, le=0xFFFF_FFFF)] = 0
    """The address of the first byte; 0: addresses count from the first byte."""
    header: Annotated[tuple[LayoutField, ...], Field(strict=False)] = ()
    pitches: Annotated[tuple[LayoutField, ...], Field(strict=False)] = ()
    """One for each pitch that occurs, the lowest first."""
    pattern_list: Annotated[tuple[LayoutField, ...], Field(strict=False)] = ()
    """One for each pattern."""
    order: Annotated[tuple[LayoutField, ...], Field(strict=False)] = ()
    """One for each bar, or for each ``pattern_steps``."""
    step: Annotated[tuple[LayoutField, ...], Field(strict=False)] = ()
    event: Annotated[tuple[LayoutField, ...], Field(strict=False)] = ()
    pattern_end: Annotated[tuple[LayoutField, ...], Field(strict=False)] = ()
    pattern_steps: Annotated[int, Field(ge=0, le=65536)] = 0
    """The steps of every pattern; 0: a pattern is a bar."""
    end: Annotated[tuple[LayoutField, ...], Field(strict=False)] = ()
    """After the last record of the order list, or of the music, where the piece ends."""
    again: Annotated[tuple[LayoutField, ...], Field(strict=False)] = ()
    """There, where the piece goes on at its loop. Left out: ``end``."""
    loop_mark: Annotated[tuple[LayoutField, ...], Field(strict=False)] = ()
    """Before the record that the piece goes on at."""
    no_loop: Annotated[int, Field(ge=-1, le=0xFFFF_FFFF)] = -1
    """What ``loop`` and ``loop_address`` are without a loop; -1: all bits 1."""
    blocks: Annotated[tuple[Block, ...], Field(strict=False)] = BLOCKS
    """The order of what there is."""
    align: Mapping[Block | Literal["pattern"], Annotated[int, Field(ge=1, le=65536)]] = {}
    """Blocks, or every pattern, that begin at a multiple of so many bytes."""
    fill: Annotated[int, Field(ge=0, le=255)] = 0
    """What lies before them."""
    form: Literal["bytes", "assembly", "c"] = "bytes"
    tones: ToneCodes = ToneCodes()
    drums: DrumCodes = DrumCodes()
    text: Text = Text()

    def record(self, kind: str) -> tuple[LayoutField, ...]:
        """Return the fields of a kind of record of `MEANT`."""
        found: tuple[LayoutField, ...] = getattr(self, kind)
        return found

    @property
    def music(self) -> tuple[LayoutField, ...]:
        """The record that tells steps."""
        return self.step or self.event

    def width(self, field: LayoutField) -> int:
        """Return the bits of a field."""
        return field.bits or self.bits

    def limit(self, field: LayoutField) -> int:
        """Return the largest number that a field can hold."""
        return min(field.most or 0xFFFF_FFFF, (1 << self.width(field)) - 1)


TABLES: Mapping[str, type[Any]] = {
    **dict.fromkeys(MEANT, LayoutField),
    "tones": ToneCodes,
    "drums": DrumCodes,
    "text": Text,
    "export": Layout,
}
"""The tables inside the table ``export``, and itself, by key; records are lists of them."""


def tone_numbers(layout: Layout, settings: Mapping[int, int]) -> dict[int, int]:
    """Return what ``voice1`` and ``voice2`` are for each pitch, from its setting, by MIDI number."""
    code, first = layout.tones.code, layout.tones.first
    return {
        midi: {"setting": setting, "index": place, "midi": midi}[code]
        for place, (midi, setting) in enumerate(settings.items(), first)
    }


def tone_fault(
    layout: Layout, numbers: Mapping[int, int], drums: Mapping[str, tuple[int, ...]]
) -> tuple[int, str, str] | None:
    """Return what ``voice1`` or ``voice2`` can't tell: the place of the field, why, and a remedy.

    Takes what each pitch is (see `tone_numbers`), and the drums' codes.
    """
    tones = layout.tones
    for place, field in enumerate(layout.music):
        if field.value not in ("voice1", "voice2"):
            continue
        codes = [("a rest", tones.rest)]
        codes += [("a hold", tones.hold)] if tones.hold >= 0 else []
        if layout.drums.place == field.value:
            codes += [(f"the drum {name}", code[0]) for name, code in drums.items()]
        pitches = [(pitch_name(m), n * field.times + field.add) for m, n in numbers.items()]
        taken: dict[int, str] = {}
        for name, number in [*codes, *pitches]:
            most, other = layout.limit(field), taken.get(number, name)
            what = f"{name} would be {number:,} in {field.value}"
            if not 0 <= number <= most:
                remedy = "give it more bits, or leave the pitch out of the table"
                return place, f"{what}, which takes 0 to {most:,}", remedy
            if other != name and not (name.startswith("the drum") and other.startswith("the drum")):
                return place, f"{what}, as {other} is", "change one of the codes"
            taken.setdefault(number, name)
    return None


def drum_numbers(layout: Layout, names: Iterable[str]) -> dict[str, tuple[int, ...]]:
    """Return the codes of the drum sounds that have any, by name; the engine's list is given."""
    if layout.drums.place == "drum" and all(field.value != "drum" for field in layout.music):
        return {}
    codes = layout.drums.codes
    return dict(codes) if codes else {name: (n,) for n, name in enumerate(names, 1)}


def drum_parameter(layout: Layout, field: LayoutField) -> int | None:
    """Return which of a drum's codes a field holds, from 0; None: the field tells something else."""
    if field.value == layout.drums.place:
        return 0
    return int(field.value[4:]) - 1 if field.value in ("drum2", "drum3", "drum4") else None


def full_layout(values: Mapping[str, Any]) -> dict[str, Any]:
    """Return what an engine's file says, with bare numbers and words of ``[export]`` written out."""
    found = values.get("export")
    if not isinstance(found, dict):
        return dict(values)
    result = dict(found)
    for kind in MEANT:
        if isinstance(found.get(kind), list):
            result[kind] = [_field(each) for each in found[kind]]
    drums = found.get("drums")
    if isinstance(drums, dict) and isinstance(drums.get("codes"), dict):
        codes = {
            name: [code] if isinstance(code, int) else code for name, code in drums["codes"].items()
        }
        result["drums"] = {**drums, "codes": codes}
    return {**values, "export": result}


def _field(value: Any) -> Any:
    if isinstance(value, int):
        return {"number": value}
    return {"value": value} if isinstance(value, str) else value


def layout_of(values: Mapping[str, Any]) -> Layout:
    """Return the layout of a table that keeps to the schema; bare numbers are written out."""

    def frozen(name: str, value: Any) -> Any:
        if name in MEANT:
            return tuple(LayoutField(**field) for field in value)
        if name == "drums":
            codes = {drum: tuple(each) for drum, each in value.get("codes", {}).items()}
            return DrumCodes(**{**value, "codes": codes})
        if name in TABLES:
            return TABLES[name](**value)
        return tuple(value) if isinstance(value, list) else value

    return Layout(**{name: frozen(name, value) for name, value in values.items()})
