"""Asking a written ledger: which notes of which bars met which fate, and why.

Works on the file alone, so that a ledger can be asked long after the song is gone. What is read is
checked as far as it is used; the whole format is stated by ``ledger.schema.json``.
"""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import dataclass
from textwrap import wrap
from typing import TYPE_CHECKING, Any

from arranger.bars import bars_named, beside
from arranger.errors import LedgerError, SettingsError, UsageError, one_line
from arranger.reduce.reasons import OUTCOMES, REASONS
from arranger.report.ledger.as_json import FORMAT, VERSION

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    Ledger = dict[str, Any]
    Notes = list[dict[str, Any]]

BARS_SHOWN = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Query:
    """Which notes are wanted; what is empty or None lets everything through."""

    bars: tuple[int, int] | None = None
    """First and last bar, as people count them."""
    outcomes: tuple[str, ...] = ()
    reasons: tuple[str, ...] = ()
    """Any of a note's reasons, not only the first."""
    parts: tuple[str, ...] = ()
    """Numbers of parts, or pieces of their names."""

    def __post_init__(self) -> None:
        for kind, asked, known in (
            ("outcome", self.outcomes, OUTCOMES),
            ("reason", self.reasons, REASONS),
        ):
            for word in asked:
                if word not in known:
                    raise UsageError(
                        f"{word!r} is no {kind}", remedy=f"choose from {', '.join(known)}"
                    )

    @property
    def wants_everything(self) -> bool:
        """Whether nothing was asked for in particular."""
        return self == Query()


def read_ledger(path: Path) -> Ledger:
    """Return a ledger as written by ``arranger convert``.

    Raises `LedgerError` if the file can't be read, or is no ledger of this version.
    """
    try:
        ledger = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise LedgerError(f"can't be read: {error.strerror}", file=path) from error
    except (ValueError, RecursionError) as error:
        raise LedgerError("is no JSON", file=path, remedy="give a NAME.ledger.json") from error
    if not isinstance(ledger, dict) or ledger.get("format") != FORMAT:
        raise LedgerError("is no ledger", file=path, remedy="give a NAME.ledger.json")
    if ledger.get("version") != VERSION:
        raise LedgerError(
            f"is a ledger of version {ledger.get('version')!r}; this program reads {VERSION}",
            file=path,
            remedy="convert the song again",
        )
    # Imported here: pydantic takes a tenth of a second, and wrong usage needs no ledger.
    from pydantic import ValidationError

    from arranger.report.ledger.shape import LedgerShape

    try:
        LedgerShape.model_validate(ledger)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        place = "".join(
            f".{part}" if isinstance(part, str) else f"[{part}]" for part in first["loc"]
        )
        what = f"is not as the format says: {first['msg'].lower()}"
        raise LedgerError(
            what, file=path, place=place.removeprefix("."), remedy="convert the song again"
        ) from None
    return ledger


def select(ledger: Ledger, query: Query) -> Notes:
    """Return the notes that a query asks for, in their order.

    Raises `SettingsError` if it names a part or bars that the ledger doesn't have.
    """
    first, last = _bars(ledger, query.bars)
    numbers = _part_numbers(ledger, query.parts)
    return [
        note
        for note in ledger["notes"]
        if first <= note["bar"] <= last
        and (not query.outcomes or note["outcome"] in query.outcomes)
        and (not query.reasons or set(query.reasons) & set(note["reasons"]))
        and (numbers is None or note.get("part") in numbers)
    ]


def _bars(ledger: Ledger, asked: tuple[int, int] | None) -> tuple[int, int]:
    bars = [note["bar"] for note in ledger["notes"]] or [0]
    first, last = asked or (min(bars), max(bars))
    if first > max(bars) or last < min(bars):
        raise SettingsError(
            f"the ledger has no notes in bars {first} to {last}",
            remedy=f"it has bars {min(bars)} to {max(bars)}",
        )
    return first, last


def _parts(ledger: Ledger) -> dict[int, str]:
    """Return the names of the parts by number."""
    return {
        part["part"]: part["name"]
        for track in ledger["source"]["tracks"]
        for part in track["parts"]
    }


def _part_numbers(ledger: Ledger, asked: Sequence[str]) -> set[int] | None:
    if not asked:
        return None
    names = _parts(ledger)
    found: set[int] = set()
    for word in asked:
        if word.isdecimal() and int(word) in names:
            found.add(int(word))
            continue
        matching = {number for number, name in names.items() if word.lower() in name.lower()}
        if not matching:
            known = ", ".join(f"{number} {one_line(name)}" for number, name in names.items())
            raise SettingsError(f"there is no part {word!r}", remedy=f"the parts are {known}")
        found |= matching
    return found


def answer(ledger: Ledger, query: Query, width: int = 80) -> Iterator[str]:
    """Yield the lines that answer a query: the notes asked for, or what there is in short."""
    if query.wants_everything:
        yield from _overview(ledger, width)
        return
    notes = select(ledger, query)
    for note in notes:
        yield from wrap(one_line(note["explanation"]), width, subsequent_indent="    ")
    yield _counted(notes, len(ledger["notes"]))


def answer_json(ledger: Ledger, query: Query) -> str:
    """Return the notes asked for and their number by outcome, as JSON."""
    notes = select(ledger, query)
    counts = Counter(note["outcome"] for note in notes)
    totals = {"notes": len(notes), **{outcome: counts[outcome] for outcome in OUTCOMES}}
    return json.dumps({"notes": notes, "totals": totals}, ensure_ascii=False, indent=1)


def _counted(notes: Notes, whole: int) -> str:
    counts = Counter(note["outcome"] for note in notes)
    told = ", ".join(f"{counts[outcome]} {outcome}" for outcome in OUTCOMES if counts[outcome])
    return f"{len(notes)} of {whole} notes{': ' if told else ''}{told}"


def _overview(ledger: Ledger, width: int) -> Iterator[str]:
    notes: Notes = ledger["notes"]
    yield one_line(ledger["source"].get("title") or ledger["source"]["file"])
    yield _counted(notes, len(notes))
    decided = Counter(note["reasons"][0] for note in notes if note["reasons"])
    for reason, count in decided.most_common():
        yield f"  {count:>6} {one_line(reason)}"
    for number, name in sorted(_parts(ledger).items()):
        own = [note for note in notes if note.get("part") == number]
        heard = sum(note["outcome"] != "dropped" for note in own)
        text = f"part {number} '{one_line(name)}': {heard} of {len(own)} notes heard"
        yield from wrap(text, width, initial_indent="  ", subsequent_indent="    ")
    for passage in ledger.get("passages", ()):
        text = one_line(passage["explanation"])
        yield from wrap(text, width, initial_indent="  ", subsequent_indent="    ")
    yield from _to_mend(ledger.get("bars", []), width)


def _to_mend(bars: Notes, width: int) -> Iterator[str]:
    """Yield the bars to mend first; ledgers of earlier versions don't tell."""
    told: dict[int, Notes] = {}
    for bar in bars:
        if bar["rank"] is not None:
            told.setdefault(bar["rank"], []).append(bar)
    if told:
        yield "bars to mend first:"
    for _, alike in sorted(told.items())[:BARS_SHOWN]:
        names = [f"{bar['bar']}{beside(bar['bar'], bar['song_bar'])}" for bar in alike]
        text = f"{bars_named(names)}: {one_line(alike[0]['lacks'])}"
        yield from wrap(text, width, initial_indent="  ", subsequent_indent="    ")
    if len(told) > BARS_SHOWN:
        left = len(told) - BARS_SHOWN
        yield f"  {left} more place{'s' if left > 1 else ''}"
