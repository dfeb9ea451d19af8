"""What is told of passages, and of the notes that take turns there."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from arranger.columns import joined_texts
from arranger.conversion import convert
from arranger.engine import load_engine
from arranger.pitch import pitch_name
from arranger.reduce import reduce
from arranger.reduce.choose.material import MOST_OF_BAR
from arranger.reduce.ledger import Span
from arranger.reduce.model import TexturePassage
from arranger.reduce.perform.heard import Heard
from arranger.reduce.tell.account import account
from arranger.reduce.tell.asked import Asked
from arranger.reduce.tell.sentences import explanations
from arranger.reduce.tell.texture_line import MEANINGS, texture_line
from arranger.reduce.tell.thresholds import MOST_TAKERS
from arranger.reduce.tell.weighing import weigh_bar
from arranger.rows import HOLD
from arranger.settings import TEXTURES, ReduceSettings, Settings
from arranger.song import read_song
from arranger.song.model import Part
from tests.reduce.little_songs import Line, grid_of, silencing, song_of

ENGINE = load_engine("twin-phase")
DEMO_SONGS = Path(__file__).parents[2] / "demo_songs"
BROKEN = ReduceSettings(texture="broken-chord")
TUNE, CHORD, BASS = range(3)
PITCHES = (72, 64, 50)


def asked(**changes: object) -> Asked:
    """Return a note of the tune, one of a chord and a bass, all over two beats of four steps."""
    usual: dict[str, object] = {
        "onset": [0] * 3, "end": [8] * 3, "note_end": [8] * 3, "written_end": [8.0] * 3,
        "rings": [0.0] * 3, "offset": [0.0] * 3, "pitch": PITCHES, "out": PITCHES, "part": [0, 1, 1],
        "drum": [False] * 3, "sound": [None] * 3, "joins": {}, "lead": [0, 1, 2], "octave_of": [-1] * 3,
        "duplicate_of": [-1] * 3, "gap": None, "refused": {}, "tune": [True, False, False],
        "turning": [[False] * 8, [True] * 8], "step_seconds": 0.125, "steps_per_beat": 4.0,
    }  # fmt: skip
    return Asked(**{**usual, **changes})  # type: ignore[arg-type]


def heard(*held: list[int]) -> Heard:
    """Return what is heard when the voices hold these notes on each step; -1: none."""
    rows = []
    for row in held:
        cells = [PITCHES[note] if note >= 0 else -2 for note in row]
        same = [step > 0 and row[step - 1] == note >= 0 for step, note in enumerate(row)]
        rows.append(tuple(HOLD if s else c for s, c in zip(same, cells, strict=True)))
    return Heard(rows, list(held), (-1,) * 8, silencing((-1,) * 8))


@pytest.mark.usefixtures("either_account")
def test_a_note_that_takes_turns_has_one_entry_with_all_its_stretches() -> None:
    turns = [BASS, BASS, CHORD, BASS, BASS, BASS, CHORD, CHORD]
    found = account(asked(), heard([TUNE] * 8, turns), [None] * 8)
    assert [entry.outcome for entry in found] == ["kept", "changed", "changed"]
    assert found[CHORD].reasons == found[BASS].reasons == ("broken-chord",)
    assert found[CHORD].spans == (Span(2, 2, 1), Span(2, 6, 2))
    assert found[CHORD].by == ()


@pytest.mark.usefixtures("either_account")
@pytest.mark.parametrize(
    ("rests", "tune", "outcome", "reason"),
    [
        (True, False, "changed", "broken-chord"),
        (False, False, "dropped", "voices-full"),  # voice 1 has the tune, and was filled later
        (True, True, "dropped", "voices-full"),  # the tune lost its start
    ],
)
def test_voice_1_takes_turns_where_the_tune_rests(
    rests: bool, tune: bool, outcome: str, reason: str
) -> None:
    late = heard([TUNE] * 4 + [CHORD] * 4, [BASS] * 8)
    turning = [[False] * 4 + [rests] * 4, [True] * 8]
    found = account(asked(turning=turning, tune=[True, tune, False]), late, [None] * 8)[CHORD]
    assert (found.outcome, found.reasons[0]) == (outcome, reason)


@pytest.mark.usefixtures("either_account")
def test_a_note_cut_for_a_turn_of_voice_1_takes_turns_though_it_began_before() -> None:
    cut = heard([CHORD] * 4 + [BASS] * 4, [BASS] * 4 + [TUNE] * 4)
    found = account(asked(turning=[[False, False, *[True] * 6], [True] * 8]), cut, [None] * 8)
    assert found[CHORD].reasons == ("broken-chord",)
    found = account(asked(turning=[[False] * 8, [True] * 8]), cut, [None] * 8)
    assert found[CHORD].reasons == ("shortened-by-next-note",)
    assert found[TUNE].outcome == "dropped", "a turn is no excuse for the tune"


@pytest.mark.usefixtures("either_account")
def test_a_note_that_got_no_turn_says_who_had_them() -> None:
    busy = heard([TUNE] * 8, [BASS] * 8)
    assert account(asked(), busy, [None] * 8)[CHORD][1:3] == ("dropped", ("no-turn",))
    assert account(asked(), busy, [None] * 8)[CHORD].by == (BASS,)
    # In voice 1 the tune has no turn.
    both = account(asked(turning=[[True] * 8] * 2), busy, [None] * 8)[CHORD]
    assert both.by == (TUNE, BASS)
    lines = account(asked(turning=[[False] * 8] * 2), busy, [None] * 8)[CHORD]
    assert (lines.reasons, lines.by) == (("voices-full",), (TUNE, BASS))
    tune = account(asked(tune=[True, True, False]), busy, [None] * 8)[CHORD]
    assert tune.reasons == ("voices-full",), "the tune waits for no turn"


@pytest.mark.usefixtures("either_account")
def test_of_many_that_had_the_turns_the_first_four_are_named() -> None:
    pitches = (72, 50, 53, 57, 60, 64, 67)
    many = {name: [0] * 7 for name in ("onset", "part")} | {"octave_of": [-1] * 7}
    many |= {name: [8] * 7 for name in ("end", "note_end")} | {"duplicate_of": [-1] * 7}
    many |= {"drum": [False] * 7, "tune": [True] + [False] * 6, "lead": list(range(7))}
    whole = asked(
        **many, pitch=pitches, out=pitches, written_end=[8.0] * 7, rings=[0.0] * 7,
        offset=[0.0] * 7, sound=[None] * 7,
    )  # fmt: skip
    turns = [1, 2, 2, 3, 4, 5, 1, 2]
    rows = [[72] + [HOLD] * 7, [HOLD if n == 2 else pitches[t] for n, t in enumerate(turns)]]
    busy = Heard(rows, [[TUNE] * 8, turns], (-1,) * 8, silencing((-1,) * 8))
    found = account(whole, busy, [None] * 8)[6]
    assert (found.reasons, found.by) == (("no-turn",), (1, 2, 3, 4))


@pytest.mark.usefixtures("either_account")
def test_what_doubles_a_note_that_takes_turns_is_heard_in_it() -> None:
    """An eighth of the time is enough, since the note that it doubles has no more."""
    turns = heard([TUNE] * 8, [-1, -1, -1, BASS, -1, -1, -1, -1])
    double = {"pitch": (72, 50, 50), "out": (72, 50, 50)}
    found = account(asked(**double), turns, [None] * 8)[CHORD]
    assert (found.outcome, found.by) == ("merged", (BASS,))
    found = account(asked(**double, turning=[[False] * 8] * 2), turns, [None] * 8)[CHORD]
    assert found.outcome == "dropped"


def test_a_held_chord_in_words() -> None:
    band = song_of(
        Line([(0, 4, 76)], "melody"),
        Line([(0, 4, pitch) for pitch in (60, 64, 67)], "strings"),
        Line([(0, 4, 43), (0, 0.25, 55), (0, 0.25, 57), (0, 0.25, 59)], "piano"),
    )
    grid = grid_of(band)
    reduction = reduce(band, ENGINE, grid, BROKEN)
    told = joined_texts(explanations(band, grid, reduction, bars=[1] * 8, beats=[1.0] * 8))
    # the E of the strings is heard in the tune above; the rest takes turns with the bass
    for note, name in ((1, "C4"), (3, "G4"), (4, "G2")):
        steps = sum(source == note for source in reduction.sources2)
        assert f"{name} of" in told[note]
        assert told[note].endswith(f"with the other notes of its chord, {steps} steps in all")
    gone = [entry for entry in reduction.ledger.entries if entry.reasons == ("no-turn",)]
    assert gone
    for entry in gone:
        names = " and ".join(f"{pitch_name(band.notes[other].pitch)}" for other in entry.by)
        assert names in told[entry.note].replace(" (bass)", "")


@pytest.mark.parametrize("name", ["boat_parade", "net_menders", "lantern_hymn", "tide_clock"])
@pytest.mark.parametrize("texture", TEXTURES[:3])
def test_turns_are_told_where_chords_are_broken_and_nowhere_else(name: str, texture: str) -> None:
    song = read_song(DEMO_SONGS / f"{name}.mid")
    settings = Settings(reduce=ReduceSettings(texture=texture))
    conversion = convert(song, ENGINE, settings)
    grid, reduction = conversion.grid, conversion.reduction
    broken = np.zeros(grid.steps + 1, dtype=np.bool_)
    for passage in reduction.passages:
        if passage.texture == "broken-chord":
            for bar in grid.bars:
                if passage.first_bar <= bar.number <= passage.last_bar:
                    broken[bar.first_step : bar.first_step + bar.steps] = True
    assert reduction.weights is not None
    tune = reduction.weights.tune >= 0.5
    for entry in reduction.ledger.entries:
        reasons, onset = set(entry.reasons), grid.onset_steps[entry.note]
        if reasons & {"broken-chord", "no-turn"}:
            assert entry.reasons[0] in {"broken-chord", "no-turn"}
            assert not tune[entry.note]
        if "broken-chord" in reasons:
            assert broken[
                [step for _, first, steps in entry.spans for step in range(first, first + steps)]
            ].any()
        if "no-turn" in reasons:
            assert broken[onset]
            assert 1 <= len(entry.by) <= MOST_TAKERS + 1
            here = range(onset, grid.end_steps[entry.note])
            rows = (reduction.sources1, reduction.sources2)
            assert {row[step] for row in rows for step in here} >= set(entry.by)
        elif "voices-full" in reasons and not tune[entry.note] and not entry.spans:
            assert not broken[onset] or "later it fills in" in _told(conversion, entry.note)


def _told(conversion: object, note: int) -> str:
    from arranger.report import sentences_of

    return sentences_of(conversion)[note]  # type: ignore[arg-type]


PARTS = [Part(0, 0, 0, 0, "a piano\nof many words, and then some", False, 64, 9)]


@pytest.mark.parametrize(
    ("passage", "said"),
    [
        (
            TexturePassage("broken-chord", 1, 16, False, 0.924, 0),
            r"bars 1-16: broken-chord, since chords sound for 92 % of the time, mostly in "
            r"'a piano\nof many words, a...'",
        ),
        (
            TexturePassage("tune-and-bass", 17, 17, False, 0.184, 0),
            "bar 17: tune-and-bass, since chords sound for only 18 % of the time",
        ),
        (
            TexturePassage("tune-and-bass", 0, 4, False, 0.0, -1),
            "bars 0-4: tune-and-bass, since no part has chords",
        ),
        (TexturePassage("two-highest", 9, 16, True, 0.9, 0), "bars 9-16: two-highest, as asked"),
        (
            TexturePassage("broken-chord", 3, 4, False, MOST_OF_BAR - 0.01, 0),
            "bars 3-4: broken-chord, since chords prevail around",
        ),
        (
            TexturePassage("tune-and-bass", 3, 4, False, MOST_OF_BAR, 0),
            "bars 3-4: tune-and-bass, since lines prevail around",
        ),
    ],
)
def test_why_a_passage_has_its_texture(passage: TexturePassage, said: str) -> None:
    assert str(texture_line(passage, PARTS)) == said


def test_every_texture_but_auto_has_a_meaning() -> None:
    assert {"auto", *MEANINGS} == set(TEXTURES)


def test_a_bar_says_which_turns_were_missed() -> None:
    band = song_of(
        Line([(0, 4, 76)], "melody"), Line([(0, 4, pitch) for pitch in (48, 60, 65)], "strings")
    )
    grid = grid_of(band)
    found = weigh_bar(band, ENGINE, grid, BROKEN, 1)
    assert found.texture == "bar 1: broken-chord, as asked"
    assert found.turns == ("voice 2 takes all its turns",)
    other = next(other for other in found.others if "turn" in other.terms)
    assert any(" in the turn of " in line for line in other.differs)
    # Where turns cost nothing, voice 2 stays with one note.
    free = weigh_bar(band, ENGINE, grid, replace(BROKEN, costs={"turn": 0.0}), 1)
    (told,) = free.turns
    assert told.startswith("voice 2 takes all its turns but those of ")
    row = reduce(band, ENGINE, grid, replace(BROKEN, costs={"turn": 0.0})).voice2
    kept = {pitch_name(pitch) for pitch in row if pitch >= 0}
    missed = {
        words.split()[0] for words in told.split(" of ")[1].replace(" and ", ", ").split(", ")
    }
    assert missed == {"C3", "C4", "F4"} - kept
    lines = weigh_bar(band, ENGINE, grid, ReduceSettings(texture="tune-and-bass"), 1)
    assert lines.turns == ()
