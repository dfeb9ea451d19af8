"""A conversion made by hand: two bars, nine notes, every outcome, and names that attack the page.

Worked out on paper: 480 ticks a beat, metre 4/4, tempo 120, a step of half a beat (240 ticks, 250 ms).
A third note of the chord on beat 1 is left out, the second G4 is tied, the snare has no sound, the
last note starts 60 ticks (a quarter step) late.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from arranger.conversion import Conversion
from arranger.engine import load_engine
from arranger.grid.model import Grid, GridBar, StepChoice
from arranger.reduce.ledger import Entry, Ledger, Span
from arranger.reduce.model import Reduction, TexturePassage
from arranger.reduce.worth.weights import PartRole, RoleEvidence
from arranger.rows import HOLD, REST
from arranger.settings import Settings
from arranger.sheet.model import Sheet, SheetBar
from arranger.song.model import MetreChange, Note, Part, Repair, Song, TempoChange, Track

HOSTILE = "=</script><img src=x onerror=alert(1)> [bold]&\u2028\x1b[31m"
"""A name that tries script, markup, a spreadsheet formula and the terminal."""

SHA256 = "0" * 64


def song() -> Song:
    """Return nine notes: a tune, a bass, a pad and drums."""
    written = [
        # part, track, channel, onset, duration, pitch, velocity
        (0, 1, 0, 0, 480, 67, 100),
        (1, 2, 1, 0, 960, 43, 90),
        (2, 3, 2, 0, 960, 59, 60),
        (3, 4, 9, 480, 10, 36, 110),
        (3, 4, 9, 720, 10, 81, 70),
        (0, 1, 0, 960, 480, 67, 100),
        (0, 1, 0, 1440, 480, 67, 100),
        (1, 2, 1, 1920, 480, 19, 90),
        (0, 1, 0, 2460, 420, 72, 100),
    ]
    notes = tuple(
        Note(
            index, part, track, channel, onset, duration, pitch, velocity, velocity / 127, part == 3
        )
        for index, (part, track, channel, onset, duration, pitch, velocity) in enumerate(written)
    )
    named = ((HOSTILE, 0, False), ("low strings", 48, False), ("pad", 88, False), ("kit", 0, True))
    parts = tuple(
        Part(i, i + 1, (0, 1, 2, 9)[i], program, name, drum, 64, sum(n.part == i for n in notes))
        for i, (name, program, drum) in enumerate(named)
    )
    tracks = (
        Track(0, "", 0),
        *(Track(part.track, part.name, part.notes) for part in parts),
    )
    return Song(
        title=HOSTILE,
        file="hostile.mid",
        sha256=SHA256,
        kind="midi",
        midi_format=1,
        ticks_per_beat=480,
        own_beat=True,
        notes=notes,
        parts=parts,
        tracks=tracks,
        tempos=(TempoChange(0, 500_000), TempoChange(1920, 1_000_000)),
        metres=(MetreChange(0, 4, 4),),
        repairs=(Repair("track 2, byte 0x0041", "a data byte above 127 was clipped"),),
    )


def entries() -> tuple[Entry, ...]:
    """Return the ledger of `song`."""
    return (
        Entry(0, "kept", (), (Span(1, 0, 2),), 67, ()),
        Entry(1, "changed", ("delayed-by-drum",), (Span(2, 0, 2), Span(2, 3, 1)), 43, (3,)),
        Entry(2, "dropped", ("voices-full",), (), None, (0, 1)),
        Entry(3, "kept", (), (Span(0, 2, 1),), None, (), "kick"),
        Entry(4, "dropped", ("no-drum-sound",), (), None, ()),
        Entry(5, "kept", (), (Span(1, 4, 2),), 67, ()),
        Entry(6, "merged", ("repeat-tied",), (Span(1, 4, 4),), 67, (5,)),
        Entry(7, "changed", ("octave-folded",), (Span(2, 8, 2),), 31, ()),
        Entry(8, "changed", ("moved-to-step",), (Span(1, 10, 2),), 72, ()),
    )


def conversion() -> Conversion:
    """Return the whole conversion."""
    engine = load_engine("twin-phase")
    length = engine.nearest_step_length(0.25)
    made = song()
    onsets = np.array([note.onset for note in made.notes])
    grid = Grid(
        step_beats=Fraction(1, 2),
        basis="file",
        first_tick=0,
        steps=16,
        bars=(GridBar(1, 0, 8, 4, 4), GridBar(2, 8, 8, 4, 4)),
        step_length=length,
        asked_bpm=121.0,
        onset_steps=np.round(onsets / 240).astype(np.int64),
        end_steps=np.round(onsets / 240).astype(np.int64) + 2,
        positions=onsets / 240,
        alternatives=(
            StepChoice(Fraction(1, 2), 1.5, 16, 1, 1, 2, 13),
            StepChoice(Fraction(1, 4), 2.5, 32, 1, 0, 0),
        ),
        remarks=("one tempo change was flattened",),
    )
    voice1 = (67, HOLD, REST, REST, 67, HOLD, HOLD, HOLD, REST, REST, 72, HOLD, *[REST] * 4)
    voice2 = (43, HOLD, HOLD, HOLD, *[REST] * 4, 31, HOLD, *[REST] * 6)
    drums = (None, None, "kick", *[None] * 13)
    roles = (
        PartRole(0, "tune", 3.0, 0.1, (RoleEvidence("plays alone on top", 2.0),)),
        PartRole(1, "bass", 0.2, 2.0, (RoleEvidence("lowest throughout", 1.5),)),
        PartRole(2, "harmony", 0.5, 0.2, ()),
        PartRole(3, "drums", 0.0, 0.0, ()),
    )
    reduction = Reduction(
        voice1=voice1,
        voice2=voice2,
        drums=drums,
        sources1=(0, 0, -1, -1, 5, 5, 6, 6, -1, -1, 8, 8, -1, -1, -1, -1),
        sources2=(1, 1, 1, 1, -1, -1, -1, -1, 7, 7, -1, -1, -1, -1, -1, -1),
        drum_sources=(-1, -1, 3, *[-1] * 13),
        ledger=Ledger.of(entries(), 0),
        roles=roles,
        passages=(
            TexturePassage("broken-chord", 1, 1, False, 0.754, 0),
            TexturePassage("two-highest", 2, 2, True, 0.0, -1),
        ),
    )
    sheet = Sheet(
        title=made.title,
        engine="twin-phase",
        step_beats=grid.step_beats,
        length=length.setting,
        bars=tuple(SheetBar(b.number, b.steps, b.numerator, b.denominator) for b in grid.bars),
        voice1=voice1,
        voice2=voice2,
        drums=drums,
        source_file=made.file,
        source_sha256=SHA256,
    )
    return Conversion(
        song=made,
        engine=engine,
        settings=Settings(),
        grid=grid,
        reduction=reduction,
        sheet=sheet,
    )
