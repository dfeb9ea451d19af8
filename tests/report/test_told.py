"""Sentences, laws, weighings and attempts, each against what stands in the conversion made by hand."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np
import pytest

from arranger.columns import joined_texts
from arranger.engine import load_engine
from arranger.grid.model import StepChoice
from arranger.reduce.ledger import Entry, Span, columns_of
from arranger.reduce.model import TexturePassage
from arranger.reduce.tell.laws import broken_entries, broken_rows, remarks_on_laws
from arranger.reduce.tell.sentences import explanations
from arranger.reduce.tell.weighing import BarWeighing, Choice
from arranger.reduce.tell.weighing_text import weighing_json, weighing_text
from arranger.reduce.worth.weights import Weights
from arranger.report.summaries import suggest
from arranger.settings import ReduceSettings

if TYPE_CHECKING:
    from arranger.conversion import Conversion

ENGINE = load_engine("twin-phase")


def told(hand: Conversion, entry: Entry, **changes: object) -> str:
    """Return what is said of a note, without where and what it is."""
    entries = list(hand.reduction.ledger.entries)
    entries[entry.note] = entry
    ledger = replace(hand.reduction.ledger, columns=columns_of(tuple(entries)))
    reduction = replace(hand.reduction, ledger=ledger, **changes)  # type: ignore[arg-type]
    (line,) = joined_texts(explanations(
        hand.song, hand.grid, reduction, bars=[7] * 9, beats=[2.3333] * 9,
        notes=range(entry.note, entry.note + 1),
    ))  # fmt: skip
    place, _, rest = line.partition("': ")
    assert place.startswith("bar 7 beat 2.33, ")
    return rest


G2 = 1


@pytest.mark.parametrize(
    ("reason", "by", "said"),
    [
        ("lengthened-to-step", (), "it lasts 3 steps, since a tone lasts whole steps"),
        ("shortened-by-next-note", (0,), "it lasts 3 steps, then gives way to G4 (tune)"),
        ("shortened-for-gap", (), "its last step is silent so that the next G2 is heard to start"),
        ("octave-folded", (), "it sounds as G2, the octave that the pitch table has"),
        ("broken-chord", (), "it takes turns with the other notes of its chord, 3 steps in all"),
        ("voices-full", (0, 2), "it starts 1 step late, when G4 (tune) and B3 gave way"),
        ("voices-full", (), "it starts 1 step late, when other notes gave way"),
    ],
)
def test_what_is_heard_otherwise_says_how(
    hand: Conversion, reason: str, by: tuple[int, ...], said: str
) -> None:
    entry = Entry(G2, "changed", (reason,), (Span(2, 1, 2), Span(2, 4, 1)), 43, by)
    assert told(hand, entry) == f"changed, {said}"


def test_steps_and_milliseconds_are_counted(hand: Conversion) -> None:
    one = Entry(G2, "changed", ("lengthened-to-step", "voices-full"), (Span(2, 4, 1),), 43, ())
    assert told(hand, one) == (
        "changed, it lasts 1 step, since a tone lasts whole steps; "
        "it starts 4 steps late, when other notes gave way"
    )
    positions = hand.grid.positions.copy()
    positions[G2] = -0.4
    late = replace(hand, grid=replace(hand.grid, positions=positions))
    moved = Entry(G2, "changed", ("moved-to-step",), (Span(2, 0, 2),), 43, ())
    # 0.4 of 250.8 ms
    assert told(late, moved) == "changed, it is moved to the nearest step, 100 ms late"
    positions[G2] = 0.4
    assert told(late, moved) == "changed, it is moved to the nearest step, 100 ms early"


def test_an_octave_of_the_hand_is_not_laid_on_the_pitch_table(hand: Conversion) -> None:
    chosen = Entry(G2, "changed", ("by-hand", "octave-folded"), (Span(2, 0, 2),), 55, ())
    assert told(hand, chosen) == "changed, by the hand that changed the bar; it sounds as G3"


def test_drums_and_tones_are_blamed_for_their_own(hand: Conversion) -> None:
    both = Entry(
        G2, "changed", ("delayed-by-drum", "shortened-by-next-note"), (Span(2, 1, 2),), 43, (3, 0),
        late_seconds=0.2508,
    )  # fmt: skip
    assert told(hand, both) == (
        "changed, it starts 251 ms late, right after Bass Drum 1; "
        "it lasts 2 steps, then gives way to G4 (tune)"
    )
    # Where only one kind is listed it stands for both.
    assert "then gives way to Bass Drum 1" in told(hand, both._replace(by=(3,)))


def test_a_start_right_after_a_drum_is_told_of_a_note_that_is_kept(hand: Conversion) -> None:
    kept = Entry(G2, "kept", (), (Span(2, 0, 2),), 43, (3,), late_seconds=0.0339)
    assert told(hand, kept) == "kept, it starts 34 ms late, right after Bass Drum 1"
    moved = kept._replace(outcome="changed", reasons=("octave-folded",))
    assert told(hand, moved).endswith("; it starts 34 ms late, right after Bass Drum 1")
    assert told(hand, kept._replace(by=(), late_seconds=0.007)) == "kept"
    later = moved._replace(reasons=("voices-full",), spans=(Span(2, 1, 2),), by=(0, 3))
    assert told(hand, later) == "changed, it starts 1 step late, when G4 (tune) gave way"


def test_what_is_lost_says_to_whom(hand: Conversion) -> None:
    def lost(reason: str, by: tuple[int, ...] = (0, 1), note: int = 2) -> str:
        return told(hand, Entry(note, "dropped", (reason,), (), None, by))

    assert lost("voices-full") == "dropped, both voices were busy with G4 (tune) and G2 (bass)"
    assert lost("same-step") == "dropped, G4 (tune) and G2 (bass) on the same step took its place"
    turns = "dropped, its chord is broken, and the turns went to"
    assert lost("no-turn") == f"{turns} G4 (tune) and G2 (bass)"
    assert lost("no-turn", (0, 1, 5)) == f"{turns} G4 (tune) and G2 (bass)", "each name once"
    assert lost("beyond-limit") == "dropped, left out so that the song takes fewer bytes"
    # A note that has a step in the rows all the same comes in later, and says so.
    later = "or a beat or more; later it fills in"
    assert lost("voices-full", note=0).endswith(f"f{later}")
    outside = hand.grid.onset_steps.copy()
    outside[2] = -1
    beyond = replace(hand, grid=replace(hand.grid, onset_steps=outside))
    entry = Entry(2, "dropped", ("beyond-limit",), (), None, ())
    assert told(beyond, entry) == "dropped, it lies outside the passage that was converted"


def test_marks_go_by_weight_where_there_are_weights(hand: Conversion) -> None:
    weights = Weights(
        tune=np.array([0.49, 0.5, 0.9, 0, 0, 0, 0, 0, 0]),
        bass=np.array([0.5, 0.9, 0.1, 0, 0, 0, 0, 0, 0]),
        salience=np.ones(9),
        duplicate_of=np.full(9, -1),
        octave_of=np.full(9, -1),
        roles=hand.reduction.roles,
    )
    entry = Entry(8, "dropped", ("voices-full",), (), None, (0, 1, 2, 5))
    assert told(hand, entry._replace(note=4), weights=weights) == (
        "dropped, both voices were busy with G4 (bass), G2 (tune), B3 (tune) and G4"
    )


# Laws


def test_rows_and_ledger_by_hand_keep_the_laws(hand: Conversion) -> None:
    assert broken_rows(ENGINE, hand.reduction) == []
    assert broken_entries(ENGINE, hand.reduction) == []
    assert remarks_on_laws(hand.song, ENGINE, hand.reduction) == ()


@pytest.mark.parametrize(
    ("row", "step", "cell", "what"),
    [
        ("voice1", 2, 60, "voice 1, step 3 names no note that it comes from"),
        ("voice2", 1, -2, "voice 2, step 2 names no note that it comes from"),
        ("voice1", 0, 127, "voice 1, step 1 isn't in the pitch table"),
        ("voice2", 8, 0, "voice 2, step 9 isn't in the pitch table"),
        ("sources1", 0, -1, "voice 1, step 1 names no note that it comes from"),
        ("sources2", 15, 3, "voice 2, step 16 names no note that it comes from"),
        ("drums", 0, "kick", "drums, step 1 names no note that it comes from"),
        ("drums", 2, None, "drums, step 3 names no note that it comes from"),
        ("drum_sources", 15, 0, "drums, step 16 names no note that it comes from"),
    ],
)
def test_a_step_that_names_no_note_is_told(
    hand: Conversion, row: str, step: int, cell: object, what: str
) -> None:
    cells = list(getattr(hand.reduction, row))
    cells[step] = cell
    broken = replace(hand.reduction, **{row: tuple(cells)})  # type: ignore[arg-type]
    assert broken_rows(ENGINE, broken) == [what]
    (remark,) = [r for r in remarks_on_laws(hand.song, ENGINE, broken) if what in r]
    assert remark == f"hostile.mid, {what}; sheet and sound are whole"
    assert not any(what in r for r in remarks_on_laws(hand.song, ENGINE, broken, by_hand=True))


@pytest.mark.parametrize(
    ("note", "changes"),
    [
        (0, {"outcome": "dropped"}),
        (2, {"outcome": "changed"}),
        (0, {"outcome": "changed"}),
        (7, {"outcome": "kept"}),
        (8, {"reasons": ("no-such-thing",)}),
        (0, {"spans": (Span(1, 0, 3),)}),  # a step too many
        (0, {"spans": (Span(2, 0, 2),)}),  # the other voice
        (0, {"spans": (Span(1, 1, 2),)}),
        (5, {"spans": (Span(1, 6, 2),)}),  # the note that it is tied to
        (0, {"pitch_out": 66}),
        (0, {"pitch_out": None}),
        (1, {"spans": (Span(2, 0, 4),), "pitch_out": 44}),
        (3, {"spans": (Span(0, 3, 1),)}),
        (3, {"spans": (Span(0, 1, 1),)}),
    ],
)
def test_an_entry_that_the_rows_contradict_is_told(
    hand: Conversion, note: int, changes: dict[str, object]
) -> None:
    entries = list(hand.reduction.ledger.entries)
    entries[note] = entries[note]._replace(**changes)  # type: ignore[arg-type]
    ledger = replace(hand.reduction.ledger, columns=columns_of(tuple(entries)))
    broken = broken_entries(ENGINE, replace(hand.reduction, ledger=ledger))
    assert [who for who, _ in broken] == [note]


def test_three_faults_are_told_and_the_others_counted(hand: Conversion) -> None:
    for count, lines in ((3, 3), (4, 4), (9, 4)):
        entries = [
            entry._replace(spans=(), outcome="kept", reasons=("silent",)) if n < count else entry
            for n, entry in enumerate(hand.reduction.ledger.entries)
        ]
        entries = [
            e._replace(reasons=(*e.reasons, "x" * e.note)) if e.note < count else e for e in entries
        ]
        ledger = replace(hand.reduction.ledger, columns=columns_of(tuple(entries)))
        told = remarks_on_laws(
            hand.song, ENGINE, replace(hand.reduction, ledger=ledger), by_hand=True
        )
        assert len(told) == lines
        assert told[1].startswith("hostile.mid, note 1 (G2 of 'low strings'): ")
        if count > 3:
            assert told[3] == f"hostile.mid: {count - 3} more faults of this kind"


# What was weighed


def test_a_weighing_in_words_and_figures() -> None:
    found = BarWeighing(
        bar=3,
        texture="bars 1-8: broken-chord, as asked",
        turns=("voice 2 takes all its turns",),
        held=("voice 1: beat 1 G4 of 'a'", "voice 2: nothing"),
        terms={"attack": 1.25, "leap": 0.005},
        others=(
            Choice(("beat 2: voice 2 has B3 of 'b'",), 0.5, {"sustain": 0.75, "attack": -0.25}),
            Choice(("beat 1: no drum",), 1.0, {}),
        ),
    )
    assert weighing_text(found).splitlines() == [
        "bar 3",
        "  bars 1-8: broken-chord, as asked",
        "  voice 1: beat 1 G4 of 'a'",
        "  voice 2: nothing",
        "  voice 2 takes all its turns",
        "  costs 1.25 beats of the tune: attack 1.25, leap 0.01",
        "runner-up: 0.50 more",
        "  beat 2: voice 2 has B3 of 'b'",
        "  sustain +0.75, attack -0.25",
        "choice 3: 1.00 more",
        "  beat 1: no drum",
        "  nothing",
        "where",
        "  attack   the start of a note is not heard, times its worth",
        "  sustain  a beat of a note is not heard, times its worth",
        "  leap     a voice moves by a semitone, up to an octave",
    ]
    assert json.loads(weighing_json(found)) == {
        "bar": 3,
        "texture": "bars 1-8: broken-chord, as asked",
        "choice": {
            "held": ["voice 1: beat 1 G4 of 'a'", "voice 2: nothing"],
            "turns": ["voice 2 takes all its turns"],
            "terms": {"attack": 1.25, "leap": 0.005},
        },
        "others": [
            {
                "differs": ["beat 2: voice 2 has B3 of 'b'"],
                "more": 0.5,
                "terms": {"sustain": 0.75, "attack": -0.25},
            },
            {"differs": ["beat 1: no drum"], "more": 1.0, "terms": {}},
        ],
        "song_bar": 3,
    }
    elsewhere = replace(found, bar=5, song_bar=3)
    assert weighing_text(elsewhere).splitlines()[:2] == [
        "bar 5 (the song's 3)",
        "  in the song, bars 1-8: broken-chord, as asked",
    ]
    told = json.loads(weighing_json(elsewhere))
    assert (told["bar"], told["song_bar"]) == (5, 3)
    alone = weighing_text(replace(found, others=(), terms={})).splitlines()
    assert alone[5:] == [
        "  costs 0.00 beats of the tune: nothing", "nothing else could sound in this bar", "where",
    ]  # fmt: skip


# What is worth trying


def attempts(conversion: Conversion) -> list[tuple[dict[str, str], str]]:
    return [
        (dict(attempt.words), attempt.what) for attempt in suggest._attempts(conversion)
    ]  # fmt: skip


def test_the_attempts_for_the_song_by_hand(hand: Conversion) -> None:
    choices = tuple(StepChoice(Fraction(1, n), 1.0, 16, 0, 0, 0) for n in (2, 4, 1, 8))
    grid = replace(hand.grid, alternatives=choices)
    assert attempts(replace(hand, grid=grid)) == [
        ({"texture": "broken-chord"}, "chords by turns throughout"),
        ({"step": "1/4"}, "a finer step"),
        ({"step": "1"}, "a coarser step"),
        ({"transpose": "auto"}, "the key that the pitch table plays best"),
        ({"bass": "3"}, "'pad' carries the bass"),
        ({"transpose": "12"}, "an octave away"),
        ({"transpose": "-12"}, "an octave away"),
        ({"texture": "tune-and-bass"}, "two lines instead of chords by turns"),
    ]


def test_what_is_set_already_is_not_tried(hand: Conversion) -> None:
    chosen = ReduceSettings(texture="broken-chord", drums="none", transpose=2)
    passages = (TexturePassage("broken-chord", 1, 2, True, 0.5, 0),)
    broken = replace(
        hand,
        settings=replace(hand.settings, reduce=chosen),
        reduction=replace(hand.reduction, passages=passages),
    )
    found = [words for words, _ in attempts(broken)]
    assert [words for words in found if "texture" in words] == [
        {"texture": "auto"},
        {"texture": "tune-and-bass"},
    ]
    lines = replace(hand.reduction, passages=(passages[0]._replace(texture="tune-and-bass"),))
    told = [words for words, _ in attempts(replace(hand, reduction=lines))]
    assert {"texture": "tune-and-bass"} not in told
    assert {"texture": "broken-chord"} in told
    assert {"transpose": "auto"} not in found
    assert [words for words in found if "drums" in words] == [{"drums": "full"}]
    parts = tuple(part._replace(drum=False) for part in hand.song.parts)
    no_drums = replace(hand, song=replace(hand.song, parts=parts))
    assert not [words for words, _ in attempts(no_drums) if "drums" in words]
    entries = [e for e in hand.reduction.ledger.entries if "octave-folded" not in e.reasons]
    ledger = replace(hand.reduction.ledger, columns=columns_of(tuple(entries)))
    in_range = replace(hand, reduction=replace(hand.reduction, ledger=ledger))
    assert not [words for words, _ in attempts(in_range) if words.get("transpose") == "12"]


def test_two_rivals_of_the_bass_are_tried_the_likeliest_first(hand: Conversion) -> None:
    roles = [role._replace(role="harmony") for role in hand.reduction.roles]
    scores = ((1.0, 3.0), (3.0, 2.0), (2.0, 1.0), (9.0, 9.0))
    roles = [
        r._replace(tune_score=t, bass_score=b) for r, (t, b) in zip(roles, scores, strict=True)
    ]
    found = suggest._bass_attempts(
        replace(hand, reduction=replace(hand.reduction, roles=tuple(roles)))
    )
    # The fourth plays drums.
    assert [dict(a.words) for a in found] == [
        {"bass": "1"},
        {"bass": "2"},
    ]
