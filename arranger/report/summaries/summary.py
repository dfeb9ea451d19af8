"""What the terminal says after a conversion: the same as the page, in short.

`summary` gathers the facts as a plain value, `Summary.text` writes them for a pipe or a file, and
`arranger.report.summaries.terminal_text` as tables. Names from inside the file are shown on one line and never
read as markup.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, fields
from textwrap import fill
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from arranger.engine.describe import left_out_line
from arranger.errors import one_line, shortened
from arranger.grid import heard_bars
from arranger.grid.bars.disputed import contradicted_bars
from arranger.grid.steps.step_words import losses, step_sentence
from arranger.machine import song_bytes
from arranger.reduce.reasons import OUTCOMES
from arranger.reduce.tell.texture_line import texture_line
from arranger.report.account_columns import account_of
from arranger.report.heard.losses import DROPPED, song_heard
from arranger.report.heard.problems import ranking
from arranger.report.remember import remembered

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from pathlib import Path

    from arranger.conversion import Conversion
    from arranger.grid.model import Grid
    from arranger.reduce.tell.texture_line import TextureLine
    from arranger.reduce.worth.weights import PartRole
    from arranger.report.summaries.suggest import Suggestion


MOST_PARTS = 12
MOST_TEXTURES = 8
MOST_REMARKS = 6
MOST_STEPS = 4
MOST_PROBLEMS = 20
"""So many lines of each are shown in a terminal; the page shows all."""


class StepLine(NamedTuple):
    """One step that was tried."""

    step: str
    chosen: bool
    cost: float
    steps: int
    moved: int
    collided: int
    shortened: int
    misplaced: int
    """Notes heard off their places."""
    losses: str
    """What it loses, in words; empty if that is nothing."""


class DoubtLine(NamedTuple):
    """Something that isn't sure of beat or bars, and how to have it otherwise."""

    about: str
    """"beat" or "bars"."""
    what: str
    sure: int | None
    """Percent; None where no number is known."""
    others: tuple[dict[str, str], ...]
    """Of each other reading ``what`` it is, and the ``option`` that chooses it."""

    def __str__(self) -> str:
        """Return it as one sentence."""
        sure = "" if self.sure is None else f", sure to {self.sure} % only"
        others = "".join(f"; {other['option']}: {other['what']}" for other in self.others)
        return f"{self.what}{sure}{others}"


class PartLine(NamedTuple):
    """One part, its role and why."""

    number: int
    name: str
    role: str
    notes: int
    heard: int
    why: str


class HandLine(NamedTuple):
    """Bars that need a hand, and why."""

    bars: tuple[int, ...]
    named: str
    sentence: str


class TipLine(NamedTuple):
    """A command to try and its effect."""

    command: str
    what: str
    effect: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """The facts of one conversion that a person wants to know first."""

    title: str
    engine: str
    basis: str
    step: str
    steps: int
    bars: int
    asked_bpm: float
    dotted_bpm: float | None
    """Where beats that were found by ear are dotted: how many a minute; ``--tempo`` counts those."""
    played_bpm: float
    transpose: int
    doubts: tuple[DoubtLine, ...]
    """What isn't sure of beat and bars; it is told first."""
    step_sentence: str
    """What the step loses, and another that is worth knowing; empty if none was chosen."""
    step_lines: tuple[StepLine, ...]
    part_lines: tuple[PartLine, ...]
    texture_lines: tuple[TextureLine, ...]
    """Which bars have which texture, and why."""
    totals: Mapping[str, int]
    reasons: Mapping[str, int]
    hand: tuple[HandLine, ...]
    """The bars to mend, worst first; bars that lack the same together."""
    places: int
    """How many there are; ``hand`` has the first."""
    heard: tuple[int | None, ...]
    """How much of tune, bass, harmony and drums is heard, 0 to 100; None for what the song lacks."""
    seconds: float
    """How long the piece is, once through."""
    remarks: tuple[str, ...]
    memory: str
    """Bytes that the piece takes and how many are free."""
    bytes_used: int
    bytes_free: int
    """Below 0: so many bytes more than the engine has."""
    suggestions: tuple[TipLine, ...]
    """Commands to try."""
    files: tuple[str, ...]

    def text(self, width: int = 80) -> str:
        """Return the summary as plain text, without a final line feed."""
        return "\n".join(_lines(self, width))

    def json(self) -> str:
        """Return the summary as one JSON object, for scripts."""
        return json.dumps(_plain(self), ensure_ascii=False, indent=1)


def _plain(found: Summary) -> dict[str, Any]:
    """Return the summary as dictionaries and lists."""
    plain: dict[str, Any] = {entry.name: getattr(found, entry.name) for entry in fields(found)}
    for name in ("doubts", "step_lines", "part_lines", "texture_lines", "hand", "suggestions"):
        plain[name] = [line._asdict() for line in plain[name]]
    return plain


@remembered
def summary(
    conversion: Conversion, files: Sequence[Path] = (), suggestions: Sequence[Suggestion] = ()
) -> Summary:
    """Return the summary of a conversion.

    Parameters
    ----------
    conversion
        What was done.
    files
        The files that were written, to be listed.
    suggestions
        What was found worth trying.
    """
    grid, reduction = conversion.grid, conversion.reduction
    found = account_of(conversion)
    used = conversion.engine.code_bytes + piece_bytes(conversion)
    return Summary(
        title=one_line(conversion.song.title),
        engine=conversion.engine.name,
        basis=grid.basis,
        step=str(grid.step_beats),
        steps=grid.steps,
        bars=len(grid.bars),
        asked_bpm=grid.asked_bpm,
        dotted_bpm=_dotted_bpm(conversion.grid),
        played_bpm=grid.played_bpm,
        transpose=reduction.ledger.transpose,
        doubts=_doubts(conversion),
        step_sentence=step_sentence(grid.alternatives),
        step_lines=_step_lines(conversion),
        part_lines=_part_lines(conversion),
        texture_lines=tuple(
            texture_line(passage, conversion.song.parts) for passage in reduction.passages
        ),
        totals=found.totals(),
        reasons=found.reasons(),
        hand=tuple(
            HandLine(tuple(bar.number for bar in advice.bars), advice.named, advice.sentence)
            for advice in ranking(conversion)[:MOST_PROBLEMS]
        ),
        remarks=_remarks(conversion),
        places=len(ranking(conversion)),
        heard=song_heard(conversion),
        seconds=grid.steps * grid.step_length.seconds,
        memory=memory_line(conversion),
        bytes_used=used,
        bytes_free=conversion.engine.memory_bytes - used,
        suggestions=tuple(TipLine(each.command, each.what, each.effect) for each in suggestions),
        files=tuple(str(file) for file in files),
    )


@remembered
def _doubts(conversion: Conversion) -> tuple[DoubtLine, ...]:
    song, grid = conversion.song, conversion.grid
    heard = heard_bars(song, grid) if grid.timeline is not None else None
    contradicted = () if heard is None else (contradicted_bars(heard, song),)
    return tuple(
        DoubtLine(
            doubt.about,
            doubt.what,
            None if doubt.sure is None else round(100 * doubt.sure),
            tuple(other._asdict() for other in doubt.others),
        )
        for doubt in (*grid.doubts, *contradicted)
    )


def _step_lines(conversion: Conversion) -> tuple[StepLine, ...]:
    grid = conversion.grid
    return tuple(
        StepLine(
            str(choice.step_beats),
            choice.step_beats == grid.step_beats,
            choice.cost,
            choice.steps,
            choice.moved,
            choice.collided,
            choice.shortened,
            choice.misplaced,
            losses(choice),
        )
        for choice in grid.alternatives
    )


def _part_lines(conversion: Conversion) -> tuple[PartLine, ...]:
    found = account_of(conversion)
    heard = np.bincount(
        conversion.song.columns.part[found.outcome != DROPPED], minlength=len(conversion.song.parts)
    ).tolist()
    lines = [
        PartLine(
            part.index + 1,
            one_line(part.name),
            role.role,
            part.notes,
            heard[part.index],
            "; ".join(_spoke_for(role)),
        )
        for part, role in zip(conversion.song.parts, conversion.reduction.roles, strict=True)
    ]
    # Tune and bass first: they must not fall victim to the limit of lines.
    return tuple(
        sorted(lines, key=lambda line: (line.role != "tune", line.role != "bass", line.number))
    )


def _spoke_for(role: PartRole) -> list[str]:
    """Return the two things that spoke most for a role; for the harmony what spoke against the others."""
    line = role.role in {"tune", "bass"}
    return [each.what for each in role.evidence if (each.weight > 0) == line][:2]


def _remarks(conversion: Conversion) -> tuple[str, ...]:
    song = conversion.song
    repairs = tuple(f"{repair.place}: {repair.what}" for repair in song.repairs)
    grid = conversion.grid
    heard = conversion.reduction.remarks  # first, as what a hand made is told there
    said = (*heard, *repairs, *grid.remarks, *song.remarks, *_sections(grid))
    if conversion.engine.left_out:
        said = (f"{conversion.engine.name}: {left_out_line(conversion.engine)}", *said)
    return tuple(one_line(remark) for remark in said)


def _sections(grid: Grid) -> Iterator[str]:
    """Yield one sentence for each repeated section: its name and where it stands."""
    places: dict[str, list[str]] = {}
    for section in grid.sections:
        first = grid.bars[section.first_bar].number
        last = grid.bars[section.first_bar + section.bars - 1].number
        places.setdefault(section.name, []).append(f"{first}-{last}")
    earliest = next(iter(places), None)
    for name, bars in places.items():
        back = f" (--loop {bars[0].split('-')[0]}: the end goes back to it)"
        offered = back if name == earliest and grid.loop_step is None else ""
        yield f"section {name} is bars {bars[0]}, and again {', '.join(bars[1:])}{offered}"


def _lines(found: Summary, width: int) -> Iterator[str]:
    for doubt in found.doubts:
        yield _filled(f"doubt: {doubt}", width)
    yield _filled(f"{shortened(found.title, 60)}: {played(found)}", width)
    for place, step in enumerate(found.step_lines):
        if place >= MOST_STEPS and not step.chosen:
            continue
        mark = "chosen" if step.chosen else "      "
        yield _filled(
            f"  step {step.step:>4} {mark}  {step.steps:,} steps: {step.losses or 'holds every note'}",
            width,
        )
    for part in found.part_lines[:MOST_PARTS]:
        yield _filled(
            f"  part {part.number} '{shortened(part.name)}': {part.role}, {part.heard} of {part.notes} notes "
            f"heard{f' ({part.why})' if part.why else ''}",
            width,
        )
    if len(found.part_lines) > MOST_PARTS:
        yield f"  and {len(found.part_lines) - MOST_PARTS} more parts"
    for line in found.texture_lines[:MOST_TEXTURES]:
        yield _filled(f"  {line}", width)
    if len(found.texture_lines) > MOST_TEXTURES:
        yield f"  and {len(found.texture_lines) - MOST_TEXTURES} more passages"
    yield _filled(counts(found), width)
    for reason, count in found.reasons.items():
        yield f"  {count:>6} {reason}"
    if found.hand:
        yield "bars to mend first:"
    for bars in found.hand:
        yield _filled(f"  {bars.named}: {bars.sentence}", width)
    for remark in found.remarks[:MOST_REMARKS]:
        yield _filled(f"note: {remark}", width)
    if len(found.remarks) > MOST_REMARKS:
        yield f"note: {len(found.remarks) - MOST_REMARKS} more remarks are in the report"
    if found.memory:
        yield _filled(found.memory, width)
    for tip in found.suggestions:
        yield _filled(f"try ({tip.what}: {tip.effect}):", width)
        yield f"  {tip.command}"
    for file in found.files:
        yield f"wrote {file}"


def _dotted_bpm(grid: Grid) -> float | None:
    length = 1.0 if grid.timeline is None else grid.timeline.beat_length
    return grid.asked_bpm / length if length > 1.0 else None


def played(found: Summary) -> str:
    """Return the sentence on step, tempo and transposition."""
    basis = "the file's beat" if found.basis == "file" else "a beat found by ear"
    moved = f", transposed {found.transpose:+d}" if found.transpose else ""
    return (
        f"{found.bars} {'bar' if found.bars == 1 else 'bars'}, {found.steps} steps of {found.step} beat on {basis}; "
        f"tempo asked {found.asked_bpm:.4g}, played {found.played_bpm:.4g} by {found.engine}{moved}"
    )


def counts(found: Summary) -> str:
    """Return the sentence on outcomes; the four add up to the notes read."""
    in_turn = found.reasons.get("broken-chord", 0)
    more = {"changed": f" ({in_turn} take turns)"} if in_turn else {}
    told = ", ".join(f"{found.totals[o]} {o}{more.get(o, '')}" for o in OUTCOMES)
    return f"{found.totals['notes']} notes: {told}"


@remembered
def piece_bytes(conversion: Conversion) -> int:
    """Return the bytes of the song, without its player."""
    return song_bytes(conversion.sheet, conversion.engine)


def memory_line(conversion: Conversion) -> str:
    """Return the sentence on the bytes that the piece takes and those that are left."""
    engine = conversion.engine
    song = piece_bytes(conversion)
    used, free = engine.code_bytes + song, engine.memory_bytes - engine.code_bytes - song
    left = f"{free:,} free" if free >= 0 else f"{-free:,} more than the engine has"
    return (
        f"{used:,} of {engine.memory_bytes:,} bytes: player {engine.code_bytes:,}, "
        f"song {song:,}; {left}"
    )


def _filled(text: str, width: int) -> str:
    return fill(
        text, width, subsequent_indent="    ", break_long_words=False, break_on_hyphens=False
    )
