"""What stands still on the page of a song: the tables and sentences of its "why"."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.columns import distinct
from arranger.engine.tuning import advice
from arranger.errors import one_line
from arranger.grid.steps.step_words import step_sentence
from arranger.pitch import parse_pitch, pitch_name
from arranger.reduce.choose.drum_sounds import sounds_by_key, switched_off
from arranger.reduce.place.transpose import best_key
from arranger.reduce.reasons import OUTCOMES
from arranger.reduce.tell.texture_line import MEANINGS
from arranger.report.account_columns import account_of, reason_counts
from arranger.report.heard.losses import DECIDED, DROPPED, WORTH
from arranger.report.heard.problems import BarsToMend, ranking
from arranger.report.summaries.brief import lead, size
from arranger.report.summaries.command import CommandRun
from arranger.report.summaries.summary import DoubtLine, StepLine, summary
from arranger.rows import pitches_of
from arranger.sheet.form.text import speed_text
from arranger.sheet.played import step_seconds
from arranger.sheet.sounds import sounds_of
from arranger.song.general_midi import percussion_name
from arranger.version import VERSION

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from arranger.conversion import Conversion
    from arranger.reduce.tell.texture_line import TextureLine
    from arranger.report.summaries.suggest import Suggestion

MOST_PARTS = 200
MOST_REMARKS = 200


class OutcomeCount(NamedTuple):
    """One outcome, how many notes had it, and what it means."""

    name: str
    number: int
    means: str


class PartFate(NamedTuple):
    """One part with the fate of its notes and what spoke for its role."""

    number: int
    name: str
    role: str
    notes: int
    counts: tuple[int, ...]
    """In the order of `OUTCOMES`."""
    why: str


class PitchFacts(NamedTuple):
    """One pitch that the sheet uses."""

    name: str
    hertz: float
    cents: float
    steps: int


class DrumFacts(NamedTuple):
    """One percussion key of the song."""

    name: str
    sound: str
    hits: int
    heard: int
    rest: str


class Facts(NamedTuple):
    """All of them."""

    title: str
    file: str
    sha256: str
    version: str
    lead: str
    """How long, how fast."""
    size: str
    fits: bool
    doubts: tuple[DoubtLine, ...]
    notes: int
    heard: int
    kept: int
    outcomes: tuple[OutcomeCount, ...]
    worth: Mapping[str, int]
    """What a beat without each line counts, in tenths."""
    hand: tuple[BarsToMend, ...]
    parts: tuple[PartFate, ...]
    parts_left_out: int
    textures: tuple[TextureLine, ...]
    meanings: Mapping[str, str]
    """What the voices play in the textures that occur."""
    in_turn: int
    """Notes of broken chords that take turns."""
    grid: str
    steps: tuple[StepLine, ...]
    tuning: str
    pitches: tuple[PitchFacts, ...]
    drums: tuple[DrumFacts, ...]
    memory: str
    remarks: tuple[str, ...]
    command: str
    suggestions: Sequence[Suggestion]


def gather_facts(
    conversion: Conversion, suggestions: Sequence[Suggestion] = (), run: CommandRun | None = None
) -> Facts:
    """Return what the page's template needs."""
    song = conversion.song
    found = summary(conversion)
    parts = _parts(conversion)
    pitches = _pitches(conversion)
    return Facts(
        title=found.title,
        file=one_line(song.file),
        sha256=song.sha256,
        version=VERSION,
        lead=lead(found),
        size=size(found),
        fits=found.bytes_free >= 0,
        doubts=found.doubts,
        worth=WORTH,
        notes=found.totals["notes"],
        heard=found.totals["notes"] - found.totals["dropped"],
        kept=found.totals["kept"],
        outcomes=tuple(
            OutcomeCount(name, found.totals[name], means) for name, means in OUTCOMES.items()
        ),
        hand=ranking(conversion)[:8],
        parts=parts[:MOST_PARTS],
        parts_left_out=max(len(parts) - MOST_PARTS, 0),
        textures=found.texture_lines,
        meanings={line.texture: MEANINGS[line.texture] for line in found.texture_lines},
        in_turn=found.reasons.get("broken-chord", 0),
        grid=_grid(conversion),
        steps=found.step_lines,
        tuning=_tuning(pitches, conversion),
        pitches=pitches,
        drums=_drums(conversion),
        memory=found.memory,
        remarks=found.remarks[:MOST_REMARKS],
        command=(run or CommandRun(one_line(song.file))).line(conversion.settings),
        suggestions=suggestions,
    )


def _parts(conversion: Conversion) -> tuple[PartFate, ...]:
    found = account_of(conversion)
    parts = conversion.song.columns.part
    size = len(conversion.song.parts), len(OUTCOMES)
    counts = np.bincount(parts * size[1] + found.outcome, minlength=size[0] * size[1]).reshape(size)
    return tuple(
        PartFate(
            part.index + 1,
            one_line(part.name),
            role.role,
            part.notes,
            tuple(counts[part.index].tolist()),
            "; ".join(f"{e.what} ({e.weight:+.2g})" for e in role.evidence),
        )
        for part, role in zip(conversion.song.parts, conversion.reduction.roles, strict=True)
    )


def _grid(conversion: Conversion) -> str:
    grid = conversion.grid
    basis = (
        "The step follows the beat that the file is written on."
        if grid.basis == "file"
        else "The notes don't follow the file's own beat, so the beat was found from their onsets."
    )
    lasts = f"A step of {grid.step_beats} beat lasts {1000 * grid.step_length.seconds:.1f} ms."
    off = 100 * (grid.played_bpm / grid.asked_bpm - 1)
    seconds = step_seconds(grid.step_beats, grid.asked_bpm)
    if conversion.engine.nearest_step_length(seconds) != grid.step_length:
        played = f"the sheet has {speed_text(conversion.sheet)}, played as {grid.played_bpm:.4g}"
    else:
        listed = f"the nearest tempo in the list of {conversion.engine.name}"
        played = f"{listed} is {grid.played_bpm:.4g} ({off:+.1f} %)"
    tempo = f"The song asks for {grid.asked_bpm:.4g} beats a minute; {played}."
    told = step_sentence(grid.alternatives)
    losses = f" {told[:1].upper()}{told[1:]}." if told else ""
    return f"{basis} {lasts} {tempo}{losses}"


def _pitches(conversion: Conversion) -> tuple[PitchFacts, ...]:
    sheet, engine = conversion.sheet, conversion.engine
    silent = {sound.name for sound in sounds_of(sheet, engine).values() if engine.silences(sound)}
    heard = np.array([name not in silent for name in sheet.drums], dtype=np.bool_)
    held = np.stack([pitches_of(row)[heard] for row in (sheet.voice1, sheet.voice2)])
    steps = np.bincount(held[held >= 0])
    return tuple(
        PitchFacts(
            pitch_name(midi), engine.pitches[midi].frequency_hz, engine.pitches[midi].cents, steps
        )
        for midi, steps in enumerate(steps.tolist())
        if steps
    )


def _tuning(pitches: Sequence[PitchFacts], conversion: Conversion) -> str:
    """Return how far from equal temperament the sheet is, and what transposition would cure most.

    Pitches weigh by how long they sound.
    """
    if not pitches:
        return "No tone sounds."
    steps = sum(pitch.steps for pitch in pitches)
    mean = sum(abs(pitch.cents) * pitch.steps for pitch in pitches) / steps
    worst = max(pitches, key=lambda pitch: abs(pitch.cents))
    reduction, engine = conversion.reduction, conversion.engine
    weights = reduction.weights
    cure = advice(
        engine,
        {parse_pitch(pitch.name): pitch.steps for pitch in pitches},
        already=reduction.ledger.transpose,
        best=None
        if weights is None  # a sheet that came back from MIDI is as it is
        else best_key(conversion.song, engine, conversion.grid, weights),
    )
    return (
        f"On average {mean:.1f} cents from equal temperament (A4 = 440 Hz), weighed by how long "
        f"each pitch sounds; the worst is {worst.name} with {worst.cents:+.1f} cents. {cure}"
    )


def _drums(conversion: Conversion) -> tuple[DrumFacts, ...]:
    found = account_of(conversion)
    columns = conversion.song.columns
    pitch = np.where(columns.drum, columns.pitch, -1)
    facts = []
    keys: list[int] = distinct(columns.pitch[columns.drum]).tolist()
    settings = conversion.settings.reduce
    sounds, off = sounds_by_key(conversion.engine, keys, settings), switched_off(settings)
    for key in keys:
        hits = pitch == key
        lost = hits & (found.outcome == DROPPED)
        sound = sounds[key]
        facts.append(
            DrumFacts(
                percussion_name(key),
                sound.name if sound else "off" if key in off else "no sound",
                int(hits.sum()),
                int(hits.sum() - lost.sum()),
                ", ".join(
                    f"{count} {DECIDED[why]}"
                    for why, count in reason_counts(found.decided[lost]).items()
                ),
            )
        )
    return tuple(facts)
