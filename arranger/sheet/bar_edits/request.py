"""An edit of bars as somebody asks for it in words: what takes what, and how it is done."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, NamedTuple

from arranger.engine.tuning import folded
from arranger.errors import SettingsError, UsageError, did_you_mean
from arranger.sheet.bar_edits.content import clear_bars, fill_drums, swap_voices, transpose_bars
from arranger.sheet.bar_edits.structure import (
    copy_bars,
    copy_over,
    delete_bars,
    insert_bars,
    move_bars,
)
from arranger.sheet.bar_edits.which_bars import (
    DRUMS,
    VOICES,
    bars_asked_for,
    choose_place,
    choose_rows,
    choose_several,
)
from arranger.sheet.form.cells import read_hits
from arranger.sheet.sounds import gaps_of, sounds_of

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from arranger.engine.model import Engine
    from arranger.sheet.bar_edits.edit_told import BarEdit
    from arranger.sheet.form.header_values import UnknownWord
    from arranger.sheet.model import Sheet

    EngineOf = Callable[[], Engine]

_OCTAVES = {"up": 12, "down": -12}


@dataclass(frozen=True, slots=True, kw_only=True)
class EditRequest:
    """What somebody asks for, in their words; the defaults where nothing was said."""

    what: str
    which: str
    how: str | None = None
    to: str | None = None
    over: bool = False
    linked: bool = False
    times: int | None = None
    by: int | None = None
    no_fold: bool = False
    metre: str | None = None
    rows: tuple[str, ...] = ()


_SAID = {
    "how": "a word after the bars", "to": "--to", "over": "--over", "linked": "--as",
    "times": "--times", "by": "--by", "no_fold": "--no-fold", "metre": "--metre", "rows": "--row",
}  # fmt: skip


def edit_bars(sheet: Sheet, asked: EditRequest, beside: Path | None = None) -> BarEdit:
    """Return a sheet with an edit, and what it did in one line.

    ``asked``: what to do.
    ``beside``: the sheet's file; an engine of one's own is looked for beside it.

    Raises `UsageError` if there is no such edit, or something is said that it doesn't take;
    `SettingsError` if the sheet has no such bars, or they don't allow it; `EngineError` if the
    engine is needed and isn't there.
    """
    from arranger.engine import load_engine

    kind = _KINDS.get(asked.what)
    if kind is None:
        known = ", ".join(_KINDS)
        remedy = did_you_mean(asked.what, _KINDS, f"choose from {known}")
        raise UsageError(f"bars can't be asked to {asked.what!r}", remedy=remedy)
    for name, said in _SAID.items():
        if getattr(asked, name) and name not in kind.takes:
            raise UsageError(
                f"{asked.what} takes no {said.removeprefix('a ')}", remedy="leave it out"
            )
    if kind.needs and getattr(asked, kind.needs) is None:
        raise UsageError(f"{asked.what} needs {_SAID[kind.needs]}", remedy=kind.remedy)
    return kind.edit(sheet, asked, partial(load_engine, sheet.engine, beside=beside))


def _copy(sheet: Sheet, asked: EditRequest, _engine: EngineOf) -> BarEdit:
    bars = bars_asked_for(sheet, asked.which)
    to, remark = choose_place(sheet, asked.to or "")
    if not asked.over and not asked.rows:
        found = copy_bars(sheet, bars, to, times=asked.times or 1, linked=asked.linked)
        return found.remarked(bars.remark, remark)
    if asked.times is not None:
        raise UsageError(
            "--times is for copies that are put in", remedy="leave --over and --row out"
        )
    found = copy_over(sheet, bars, to, choose_rows(asked.rows), linked=asked.linked)
    return found.remarked(bars.remark, remark)


def _insert(sheet: Sheet, asked: EditRequest, _engine: EngineOf) -> BarEdit:
    if not asked.which.isdecimal() or len(asked.which) > 9:
        raise UsageError(
            f"{asked.which!r} is no count of bars", remedy="say how many, like insert 4"
        )
    to, remark = choose_place(sheet, asked.to or "")
    return insert_bars(sheet, int(asked.which), to, asked.metre or "").remarked(remark)


def _delete(sheet: Sheet, asked: EditRequest, _engine: EngineOf) -> BarEdit:
    bars = bars_asked_for(sheet, asked.which)
    return delete_bars(sheet, bars).remarked(bars.remark)


def _move(sheet: Sheet, asked: EditRequest, _engine: EngineOf) -> BarEdit:
    bars = bars_asked_for(sheet, asked.which)
    to, remark = choose_place(sheet, asked.to or "")
    return move_bars(sheet, bars, to).remarked(bars.remark, remark)


def _transpose(sheet: Sheet, asked: EditRequest, engine: EngineOf) -> BarEdit:
    return _moved(sheet, asked, asked.by or 0, engine)


def _octave(sheet: Sheet, asked: EditRequest, engine: EngineOf) -> BarEdit:
    way = (asked.how or "").lower()
    if way not in _OCTAVES:
        raise UsageError(f"an octave {asked.how!r} isn't known", remedy="say up or down")
    return _moved(sheet, asked, _OCTAVES[way], engine)


def _moved(sheet: Sheet, asked: EditRequest, semitones: int, engine: EngineOf) -> BarEdit:
    bars, remark = choose_several(sheet, asked.which)
    rows = choose_rows(asked.rows) if asked.rows else VOICES
    fold = None if asked.no_fold else partial(folded, engine())
    return transpose_bars(sheet, bars, semitones, rows, fold).remarked(remark)


def _swap(sheet: Sheet, asked: EditRequest, _engine: EngineOf) -> BarEdit:
    bars, remark = choose_several(sheet, asked.which)
    return swap_voices(sheet, bars).remarked(remark)


def _clear(sheet: Sheet, asked: EditRequest, engine: EngineOf) -> BarEdit:
    bars, remark = choose_several(sheet, asked.which)
    rows = choose_rows(asked.rows)
    gaps = gaps_of(sounds_of(sheet, engine())) if DRUMS in rows and asked.rows else frozenset()
    return clear_bars(sheet, bars, rows, gaps).remarked(remark)


def _fill(sheet: Sheet, asked: EditRequest, engine: EngineOf) -> BarEdit:
    bars, remark = choose_several(sheet, asked.which)
    faults: list[UnknownWord] = []
    words = (asked.how or "").replace("|", " ").split()
    pattern = read_hits(["drums", *words], {".": None}, faults)
    if faults:
        raise SettingsError(faults[0].what, remedy=faults[0].remedy)
    known = sounds_of(sheet, engine())
    return fill_drums(sheet, bars, pattern, known, gaps_of(known)).remarked(remark)


class _Kind(NamedTuple):
    edit: Callable[[Sheet, EditRequest, EngineOf], BarEdit]
    takes: frozenset[str]
    """What can be said, by the names of `EditRequest`."""
    needs: str = ""
    remedy: str = ""


_PLACE = "give the bar in front of which they go, like --to 17, or --to end"
_KINDS = {
    "copy": _Kind(_copy, frozenset(("to", "over", "linked", "times", "rows")), "to", _PLACE),
    "insert": _Kind(_insert, frozenset(("to", "metre")), "to", _PLACE),
    "delete": _Kind(_delete, frozenset()),
    "move": _Kind(_move, frozenset(("to",)), "to", _PLACE),
    "transpose": _Kind(
        _transpose, frozenset(("by", "no_fold", "rows")), "by", "give semitones, like --by -2"
    ),
    "octave": _Kind(_octave, frozenset(("how", "no_fold", "rows")), "how", "say up or down"),
    "swap": _Kind(_swap, frozenset()),
    "clear": _Kind(_clear, frozenset(("rows",))),
    "fill": _Kind(_fill, frozenset(("how",)), "how", 'give a drum row, like "kick . hat ."'),
}
