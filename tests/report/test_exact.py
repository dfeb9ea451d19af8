"""Whole outputs of the conversion made by hand, each checked against `tests.report.handmade` on paper."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np
import pytest

from arranger.engine import load_engine
from arranger.grid.doubt import Doubt
from arranger.grid.model import GridBar
from arranger.machine import song_bytes
from arranger.reduce.ledger import columns_of
from arranger.reduce.tell.texture_line import TextureLine
from arranger.reduce.worth.weights import Weights
from arranger.report import ledger_json, summary, terminal_text
from arranger.report.account_columns import account_of
from arranger.report.heard.hearing import LINES, asked_lines
from arranger.report.heard.problems import ranking
from arranger.report.ledger.query import Query, answer
from arranger.report.pages.facts import gather_facts
from arranger.report.pages.page_data import page_data
from arranger.report.summaries.summary import HandLine, PartLine, StepLine, Summary
from arranger.report.summaries.survey import survey, survey_lines, survey_values
from tests.grid.songs import song_of
from tests.report.handmade import HOSTILE
from tests.report.test_summary import ESCAPES, Terminal

if TYPE_CHECKING:
    from arranger.conversion import Conversion
    from arranger.engine.model import Engine

SHOWN = r"=</script><img src=x onerror=alert(1)> [bold]&\u2028\x1b[31m"
"""The hostile name as a terminal may show it."""
SHORT = "=</script><img src=x oner..."


def test_the_summary_of_the_song_by_hand(hand: Conversion) -> None:
    text = replace(summary(hand), memory="", files=("out/hostile.duet",)).text()
    assert text.splitlines() == [
        f"{SHOWN}: 2 bars, 16 steps",
        "    of 1/2 beat on the file's beat; tempo asked 121, played 119.6 by twin-phase",
        "  step  1/2 chosen  16 steps: 1 note merges, 13 off their places",
        "  step  1/4         32 steps: holds every note",
        f"  part 1 '{SHORT}': tune, 4 of 4 notes heard (plays alone",
        "    on top)",
        "  part 2 'low strings': bass, 2 of 2 notes heard (lowest throughout)",
        "  part 3 'pad': harmony, 0 of 1 notes heard",
        "  part 4 'kit': drums, 1 of 2 notes heard",
        "  bar 1: broken-chord, since chords sound for 75 % of the time, mostly in",
        f"    '{SHORT}'",
        "  bar 2: two-highest, as asked",
        "9 notes: 3 kept, 3 changed, 1 merged, 2 dropped",
        "       1 moved-to-step",
        "       1 delayed-by-drum",
        "       1 octave-folded",
        "       1 repeat-tied",
        "       1 voices-full",
        "       1 no-drum-sound",
        "bars to mend first:",
        "  bar 1: the tune's G4 on beat 4 isn't struck anew; the pad's B is missing; the",
        "    open triangle on beat 2.5 is missing",
        "  bar 2: the bass's G0 on beat 1 sounds in another octave",
        "note: track 2, byte 0x0041: a data byte above 127 was clipped",
        "note: one tempo change was flattened",
        "wrote out/hostile.duet",
    ]


def made_up(**changes: object) -> Summary:
    """Return a summary with more of everything than a terminal shows."""
    full = Summary(
        title="T" * 61,
        engine="beeper",
        basis="tracked",
        step="1/4",
        steps=64,
        bars=1,
        asked_bpm=120.0,
        dotted_bpm=None,
        played_bpm=118.25,
        transpose=-3,
        doubts=(),
        step_sentence="",
        step_lines=tuple(
            StepLine(step, step == "1/8", 0.12345, 16, 3, 2, 1, 0, "2 notes merge")
            for step in ("1/2", "1/4", "1/3", "1/6", "1/12", "1/8")
        ),
        part_lines=tuple(
            PartLine(n, "n" * (27 + n % 2 * 2), "tune" if n == 1 else "harmony", 10, n, "")
            for n in range(1, 14)
        ),
        texture_lines=tuple(
            TextureLine(f"bar {n}", "two-highest", "as asked") for n in range(1, 10)
        ),
        totals={"notes": 130, "kept": 100, "changed": 20, "merged": 6, "dropped": 4},
        reasons={},
        hand=(HandLine((1,), "bar 1", "lost"),),
        remarks=tuple(f"remark {n}" for n in range(1, 8)),
        places=1,
        heard=(100, None, 50, 0),
        seconds=61.0,
        memory="all taken",
        bytes_used=10,
        bytes_free=0,
        suggestions=(),
        files=("a.duet",),
    )
    return replace(full, **changes)  # type: ignore[arg-type]


def test_a_summary_of_much_is_cut_where_it_says_so() -> None:
    text = made_up().text(200).splitlines()
    assert text[0] == (
        f"{'T' * 57}...: 1 bar, 64 steps of 1/4 beat on a beat found by ear; "
        "tempo asked 120, played 118.2 by beeper, transposed -3"
    )
    assert [line.split()[1] for line in text[1:6]] == ["1/2", "1/4", "1/3", "1/6", "1/8"]
    assert text[5] == "  step  1/8 chosen  16 steps: 2 notes merge"
    assert text[6] == f"  part 1 '{'n' * 25}...': tune, 1 of 10 notes heard"
    assert text[7] == f"  part 2 '{'n' * 27}': harmony, 2 of 10 notes heard"
    assert text[17:] == [
        f"  part 12 '{'n' * 27}': harmony, 12 of 10 notes heard",
        "  and 1 more parts",
        *(f"  bar {n}: two-highest, as asked" for n in range(1, 9)),
        "  and 1 more passages",
        "130 notes: 100 kept, 20 changed, 6 merged, 4 dropped",
        "bars to mend first:",
        "  bar 1: lost",
        *(f"note: remark {n}" for n in range(1, 7)),
        "note: 1 more remarks are in the report",
        "all taken",
        "wrote a.duet",
    ]
    little = made_up(
        hand=(), remarks=(), memory="", files=(), part_lines=(), step_lines=(), texture_lines=()
    )
    assert little.text(200).splitlines() == [
        text[0],
        "130 notes: 100 kept, 20 changed, 6 merged, 4 dropped",
    ]
    turning = made_up(reasons={"no-turn": 4, "broken-chord": 17}).text(200).splitlines()
    assert "130 notes: 100 kept, 20 changed (17 take turns), 6 merged, 4 dropped" in turning


def shown(found: Summary, encoding: str) -> list[str]:
    """Return the lines of a terminal without colours and without blanks at their ends."""
    text = ESCAPES.sub("", terminal_text(found, Terminal(encoding), details=True))
    return [line.rstrip() for line in text.splitlines()]


TABLES = """\
Step
step | steps | merged | off place | made longer | chosen
-----+-------+--------+-----------+-------------+------------
 1/2 |    16 |      1 |        13 |           2 | <- this one
 1/4 |    32 |      0 |         0 |           0 |

Parts
part | name                         | role    | heard | of | why
-----+------------------------------+---------+-------+----+-------------------
   1 | =</script><img src=x oner... | tune    |     4 |  4 | plays alone on top
   2 | low strings                  | bass    |     2 |  2 | lowest throughout
   3 | pad                          | harmony |     0 |  1 |
   4 | kit                          | drums   |     1 |  2 |

Textures
bars | texture      | why
-----+--------------+-----------------------------------------------------------
1    | broken-chord | since chords sound for 75 % of the time, mostly in
     |              | '=</script><img src=x oner...'
2    | two-highest  | as asked

9 notes: 3 kept, 3 changed, 1 merged, 2 dropped

What decided
notes | reason
------+----------------
    1 | moved-to-step
    1 | delayed-by-drum
    1 | octave-folded
    1 | repeat-tied
    1 | voices-full
    1 | no-drum-sound

Bars to mend first
bars | what is lacking
-----+--------------------------------------------------------------------------
1    | the tune's G4 on beat 4 isn't struck anew; the pad's B is missing; the
     | open triangle on beat 2.5 is missing
2    | the bass's G0 on beat 1 sounds in another octave

note: track 2, byte 0x0041: a data byte above 127 was clipped
note: one tempo change was flattened
used
wrote a.duet
"""


def test_the_tables_of_the_song_by_hand(hand: Conversion, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.delenv("NO_COLOR", raising=False)
    found = replace(summary(hand), memory="used", files=("a.duet",))
    head = [
        SHOWN,
        "2 bars, 16 steps of 1/2 beat on the file's beat; tempo asked 121, played 119.6",
        "by twin-phase",
        "",
    ]
    assert shown(found, "ascii") == [*head, *TABLES.splitlines()]
    # With lines instead of letters the words are the same.
    ascii_words, words = (
        [re.sub("[-+|─]+", " ", line).split() for line in shown(found, encoding)]
        for encoding in ("ascii", "utf-8")
    )
    assert words == ascii_words


def test_tables_of_much_are_cut_where_they_say_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.delenv("NO_COLOR", raising=False)
    text = shown(made_up(), "ascii")
    assert text[0] == "T" * 61
    assert "and 1 more parts" in text
    assert "and 1 more passages" in text
    assert [line for line in text if "as asked" in line][-1] == "8    | two-highest | as asked"
    rows = [line for line in text if "| harmony" in line]
    assert rows[-1].split() == ["12", "|", "n" * 27, "|", "harmony", "|", "12", "|", "10", "|"]
    assert text[-9:] == [
        *(f"note: remark {n}" for n in range(1, 7)),
        "note: 1 more remarks are in the report",
        "all taken",
        "wrote a.duet",
    ]
    assert "What decided" not in text
    little = made_up(
        hand=(), remarks=(), memory="", files=(), part_lines=(), step_lines=(), texture_lines=()
    )
    assert [line for line in shown(little, "ascii") if line][3:] == [
        "Parts",
        "part | name | role | heard | of | why",
        "-----+------+------+-------+----+----",
        "130 notes: 100 kept, 20 changed, 6 merged, 4 dropped",
    ]


def test_what_just_fits_is_not_called_cut() -> None:
    full = made_up()
    fits = made_up(
        remarks=full.remarks[:6],
        part_lines=full.part_lines[:12],
        texture_lines=full.texture_lines[:8],
    )
    for text in (fits.text(200).splitlines(), shown(fits, "ascii")):
        assert not [line for line in text if "more" in line]
        assert "note: remark 6" in text


def test_what_matters_stands_out_in_bold(hand: Conversion, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("NO_COLOR", raising=False)
    text = terminal_text(summary(hand), Terminal("utf-8"), details=True)
    bold = "\n".join(re.findall("\x1b\\[1m([^\x1b]*)", text))
    for said in ("<script>", "9 notes: 3 kept", "13", "low strings", "Parts"):
        assert said.replace("<", "</", said == "<script>") in bold
    for said in ("32", "pad", "tempo asked"):
        assert said in text
        assert said not in bold


def test_the_page_gets_the_song_by_hand(hand: Conversion) -> None:
    """Positions and lengths in hundredths of a step, beats in hundredths of a beat."""
    found = json.loads("".join(page_data(hand)))
    engine, reasons = found.pop("engine"), found.pop("reasons")
    sheet_lines = [found["sheet"].pop(name) for name in ("file", "lines", "bars")]
    assert sheet_lines[0] == "hostile.duet"
    told = found["notes"].pop("told")
    taken = hand.engine.code_bytes + song_bytes(hand.sheet, hand.engine)
    assert [text.partition(":")[0] for text in told[:3]] == [
        f"bar 1 beat 1, G4 of '{SHOWN}'",
        "bar 1 beat 1, G2 of 'low strings'",
        "bar 1 beat 1, B3 of 'pad'",
    ]
    assert found == {
        "title": HOSTILE,
        "head": {
            "lead": "0:04, 2 bars, tempo 121 (played at 119.6)",
            "size": f"fits: {taken:,} of 32,768 bytes",
            "fits": True,
        },
        "stepSeconds": hand.grid.step_length.seconds,
        "steps": 16,
        "loopStep": None,
        "bars": [[1, 0, 8, 4, 4, 7, 2, None], [2, 8, 8, 4, 4, 2, 0, None]],
        # A line each: see `test_losses`.
        "heard": [[83, 99], [100, 90], [0, None], [54, None]],
        "heardWhole": [87, 95, 0, 54],
        "problems": [
            [[0], ranking(hand)[0].sentence, [0, 2, 3]],
            [[1], ranking(hand)[1].sentence, [1]],
        ],
        "parts": [
            [HOSTILE, "tune", 0, 0],
            ["low strings", "bass", 0, 48],
            ["pad", "harmony", 0, 88],
            ["kit", "drums", 1, 0],
        ],
        "outcomes": ["kept", "changed", "merged", "dropped"],
        "drumNames": {"36": "Bass Drum 1", "81": "Open Triangle"},
        "sheet": {
            "voices": [list(hand.sheet.voice1), list(hand.sheet.voice2)],
            "drums": [-1, -1, 0, *[-1] * 13],
            "sources": [
                [0, 0, -1, -1, 5, 5, 6, 6, -1, -1, 8, 8, -1, -1, -1, -1],
                [1, 1, 1, 1, -1, -1, -1, -1, 7, 7, -1, -1, -1, -1, -1, -1],
                [-1, -1, 3, *[-1] * 13],
            ],
        },
        "notes": {
            "part": [0, 1, 2, 3, 3, 0, 0, 1, 0],
            "pitch": [67, 43, 59, 36, 81, 67, 67, 19, 72],
            # 100, 90, 60, 110 and 70 of 127
            "loud": [79, 71, 47, 87, 55, 79, 79, 71, 79],
            "at": [0, 0, 0, 200, 300, 400, 600, 800, 1025],
            "steps": [200, 400, 400, 4, 4, 200, 200, 200, 175],
            "bar": [1, 1, 1, 1, 1, 1, 1, 2, 2],
            "beat": [100, 100, 100, 200, 250, 300, 400, 100, 212],
            "outcome": [0, 1, 3, 0, 3, 0, 2, 1, 1],
            "reasons": [[], [4], [10], [], [16], [], [9], [5], [0]],
            "spans": [
                [[1, 0, 2]], [[2, 0, 2], [2, 3, 1]], [], [[0, 2, 1]], [], [[1, 4, 2]], [[1, 4, 4]],
                [[2, 8, 2]], [[1, 10, 2]],
            ],
            "out": [67, 43, None, None, None, 67, 67, 31, 72],
            "sound": [-1, -1, -1, 0, -1, -1, -1, -1, -1],
            "by": [[], [3], [0, 1], [], [], [], [5], [], []],
        },
    }  # fmt: skip
    assert reasons[4] == ["delayed-by-drum", "late because of a drum"]
    assert engine["settings"].keys() == {str(pitch) for pitch in hand.engine.pitches}
    # Two writes half a pass apart; a step is a whole number of passes.
    assert engine["offset"] * 2 == engine["passCycles"]
    assert engine["stepCycles"] % engine["passCycles"] == 0
    assert engine["stepCycles"] / engine["clockHz"] == pytest.approx(hand.grid.step_length.seconds)


def test_notes_outside_the_passage_and_before_it(hand: Conversion) -> None:
    onsets = hand.grid.onset_steps.copy()
    onsets[8] = -1
    positions = hand.grid.positions.copy()
    positions[0] = -0.25
    grid = replace(hand.grid, onset_steps=onsets, positions=positions, loop_step=4)
    found = json.loads("".join(page_data(replace(hand, grid=grid))))
    assert found["loopStep"] == 4
    assert found["notes"]["at"] == [0, 0, 0, 200, 300, 400, 600, 800, -100]


def test_the_facts_of_the_song_by_hand(hand: Conversion) -> None:
    facts = gather_facts(hand)
    assert (facts.notes, facts.heard, facts.kept, facts.parts_left_out) == (9, 7, 3, 0)
    assert [line.texture for line in facts.textures] == ["broken-chord", "two-highest"]
    assert list(facts.meanings) == ["broken-chord", "two-highest"]
    assert [part.counts for part in facts.parts] == [
        (2, 1, 1, 0), (0, 2, 0, 0), (0, 0, 0, 1), (1, 0, 0, 1),
    ]  # fmt: skip
    assert [part.why for part in facts.parts] == [
        "plays alone on top (+2)", "lowest throughout (+1.5)", "", "",
    ]  # fmt: skip
    # The bass sounds after the kick on its step, too.
    assert [(p.name, p.steps) for p in facts.pitches] == [
        ("G1", 2), ("G2", 4), ("G4", 6), ("C5", 2),
    ]  # fmt: skip
    cents = {pitch.name: pitch.cents for pitch in facts.pitches}
    mean = (
        sum(abs(cents[name]) * n for name, n in (("G1", 2), ("G2", 4), ("G4", 6), ("C5", 2))) / 14
    )
    assert facts.tuning.startswith(f"On average {mean:.1f} cents from equal temperament")
    assert f"the worst is G1 with {cents['G1']:+.1f} cents" in facts.tuning
    # 60 s / (2 steps of 250.8 ms) is 119.6, which is 0.7 % less than 120.4 and 0.5 % more than 119.
    asked = gather_facts(replace(hand, grid=replace(hand.grid, asked_bpm=120.4))).grid
    assert asked == (
        "The step follows the beat that the file is written on. A step of 1/2 beat lasts 250.8 ms. "
        "The song asks for 120.4 beats a minute; the nearest tempo in the list of twin-phase is "
        "119.6 (-0.7 %). "
        "Step 1/2: 1 note merges, 13 off their places; --step 1/4: none, twice as many steps."
    )
    far = gather_facts(replace(hand, grid=replace(hand.grid, asked_bpm=150.0))).grid
    assert "asks for 150 beats a minute; the sheet has length 7440, played as 119.6. " in far
    slower = gather_facts(replace(hand, grid=replace(hand.grid, asked_bpm=119.0))).grid
    assert "is 119.6 (+0.5 %). " in slower
    by_hand = gather_facts(replace(hand, sheet=replace(hand.sheet, tempo=119.0, length=None))).grid
    assert "asks for 121 beats a minute; the sheet has tempo 119, played as 119.6. " in by_hand
    silent = replace(hand.sheet, voice1=(-2,) * 16, voice2=(-2,) * 16)
    assert gather_facts(replace(hand, sheet=silent)).tuning == "No tone sounds."
    assert gather_facts(replace(hand, grid=replace(hand.grid, basis="tracked"))).grid.startswith(
        "The notes don't follow the file's own beat"
    )


@pytest.fixture
def engine() -> Engine:
    return load_engine("twin-phase")


SURVEYED = [
    [(0, 1, 60), (0, 1, 64), (0, 1, 67), (0, 1, 72), (1, 1, 60)],
    [(0, 0, 36), (1, 0, 36), (Fraction(3, 2), 0, 42)],
]


def test_a_survey_of_two_parts(engine: Engine) -> None:
    """A beat of four pitches and one of a single one at 120 a minute, with three strokes of drums."""
    song = song_of(*SURVEYED, drums=frozenset({1}), metres=((0, 2, 4),))
    song = replace(song, parts=(song.parts[0]._replace(program=40), song.parts[1]))
    found = survey(song, engine)
    assert survey_lines(found) == [
        "test",
        "test.mid: MIDI format 1, 8 notes in 2 parts, 1 bars, 0:01",
        "tempo 120 beats a minute; metre 2/4",
        "beat: too few onsets (3) to tell; the file's beats are followed",
        "",
        "part  name    channel  notes  plays   range  at once",
        "   1  part 1        1      5  Violin  C4-C5        4",
        "   2  part 2        2      3  drums                1",
        "",
        "key  drum           notes  on twin-phase",
        " 36  Bass Drum 1        2  kick",
        " 42  Closed Hi-Hat      1  hat",
        "",
        "for two voices: hard; on average 2.5 pitches at once, more than two for 50% of the time",
        "outside the pitch table of twin-phase (C1 to C7): 0 of 5 notes",
    ]
    values = survey_values(found)
    assert (values["seconds"], values["beats"], values["bars"], values["notes"]) == (1.0, 2.0, 1, 8)
    assert values["difficulty"] == {
        "average_pitches": 2.5, "share_over_two": 0.5, "outside_pitch_table": 0, "word": "hard",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("over", "word"), [(0.05, "easy"), (0.06, "moderate"), (0.35, "moderate"), (0.36, "hard")]
)
def test_the_word_for_two_voices_goes_by_the_time_over_two(
    engine: Engine, over: float, word: str
) -> None:
    chord = [(0, Fraction(over).limit_denominator(100) * 20, pitch) for pitch in (60, 64)]
    difficulty = survey(song_of([*chord, (0, 20, 48)]), engine).difficulty
    assert difficulty.share_over_two == pytest.approx(over)
    assert difficulty.word == word


@pytest.mark.parametrize(("count", "more"), [(6, ""), (7, " and others"), (8, " and others")])
def test_metres_are_named_once_and_six_at_most(engine: Engine, count: int, more: str) -> None:
    metres = tuple((4 * n, n + 1, 4) for n in range(count))
    told = survey_lines(survey(song_of([(0, 60, 60)], metres=(*metres, (40, 1, 4))), engine))[2]
    assert told.endswith(f"metre 1/4, 2/4, 3/4, 4/4, 5/4, 6/4{more}")


def test_a_written_ledger_in_short(hand: Conversion) -> None:
    entries = [
        e._replace(reasons=("voices-full", "octave-folded")) if e.note == 1 else e
        for e in hand.reduction.ledger.entries
    ]
    ledger = replace(hand.reduction.ledger, columns=columns_of(tuple(entries)))
    written = ledger_json(replace(hand, reduction=replace(hand.reduction, ledger=ledger)))
    assert list(answer(json.loads(written), Query())) == [
        SHOWN,
        "9 of 9 notes: 3 kept, 3 changed, 1 merged, 2 dropped",
        "       2 voices-full",
        "       1 no-drum-sound",
        "       1 repeat-tied",
        "       1 octave-folded",
        "       1 moved-to-step",
        f"  part 1 '{SHOWN}': 4 of 4",
        "    notes heard",
        "  part 2 'low strings': 2 of 2 notes heard",
        "  part 3 'pad': 0 of 1 notes heard",
        "  part 4 'kit': 1 of 2 notes heard",
        "  bar 1: broken-chord, since chords sound for 75 % of the time, mostly in",
        f"    '{SHORT}'",
        "  bar 2: two-highest, as asked",
        "bars to mend first:",
        "  bar 1: the tune's G4 on beat 4 isn't struck anew; the pad's B is missing; the",
        "    open triangle on beat 2.5 is missing; the bass's G2 on beat 1 sounds in",
        "    another octave",
        "  bar 2: the bass's G0 on beat 1 sounds in another octave",
    ]


def test_five_problems_of_a_ledger_are_shown_alike_bars_together(hand: Conversion) -> None:
    ledger = json.loads(ledger_json(hand))
    assert ledger["bars"][1] == {
        "bar": 2, "song_bar": 2, "rank": 2,
        "heard": {"tune": 99, "bass": 90, "harmony": None, "drums": None},
        "lacks": "the bass's G0 on beat 1 sounds in another octave",
    }  # fmt: skip
    ranks = {1: 2, 2: 3, 3: None, 4: 4, 5: 1, 6: 5, 7: 6, 8: 1}
    ledger["bars"] = [
        {**ledger["bars"][0], "bar": bar, "song_bar": 3 if bar == 5 else bar, "rank": rank,
         "lacks": f"lack {rank}"}
        for bar, rank in ranks.items()
    ]  # fmt: skip
    assert list(answer(ledger, Query()))[-7:] == [
        "bars to mend first:",
        "  bars 5 (the song's 3) and 8: lack 1",
        "  bar 1: lack 2",
        "  bar 2: lack 3",
        "  bar 4: lack 4",
        "  bar 6: lack 5",
        "  1 more place",
    ]
    del ledger["bars"]
    assert "bars to mend" not in "".join(answer(ledger, Query()))


@pytest.mark.parametrize(
    ("more", "left"), [(0, "0 free"), (5, "5 free"), (-1_005, "1,005 more than the engine has")]
)
def test_the_memory_that_is_left_or_lacking(hand: Conversion, more: int, left: str) -> None:
    used = hand.engine.code_bytes + song_bytes(hand.sheet, hand.engine)
    engine = replace(hand.engine, memory_bytes=used + more)
    assert summary(replace(hand, engine=engine)).memory.endswith(f"; {left}")


def test_what_is_sure_is_told_in_hundredths(hand: Conversion) -> None:
    doubts = (Doubt("beat", "the beat was found by ear", 0.836, ()), Doubt("bars", "so", None, ()))
    told = summary(replace(hand, grid=replace(hand.grid, doubts=doubts))).doubts
    assert [doubt.sure for doubt in told] == [84, None]
    used = hand.engine.code_bytes + song_bytes(hand.sheet, hand.engine)
    for more, fits in ((0, True), (-1, False)):
        tight = replace(hand, engine=replace(hand.engine, memory_bytes=used + more))
        assert gather_facts(tight).fits == fits
        assert json.loads("".join(page_data(tight)))["head"]["fits"] == fits


def test_a_survey_tells_seconds_and_beats_in_thousandths(engine: Engine) -> None:
    """480 ticks a beat, half a second each."""
    song = song_of([(0, Fraction(1001, 480), 60)])
    values = survey_values(survey(song, engine))
    assert (values["beats"], values["seconds"]) == (2.085, 1.043)
    silent = survey(replace(song, notes=(), parts=()), engine).difficulty
    assert (silent.average_pitches, silent.share_over_two, silent.word) == (0.0, 0.0, "easy")


def test_a_note_carries_a_line_from_half_its_weight_on(hand: Conversion) -> None:
    weights = Weights(
        tune=np.array([0.5, 0.49, 0.6, 1, 1, 0, 0, 0, 0]),
        bass=np.array([0.9, 0.5, 0.6, 1, 1, 0.49, 0, 0, 0]),
        salience=np.ones(9),
        duplicate_of=np.full(9, -1),
        octave_of=np.full(9, -1),
        roles=hand.reduction.roles,
    )
    weighed = replace(hand, reduction=replace(hand.reduction, weights=weights))
    asked = asked_lines(weighed)
    assert [LINES[line] for line in asked.line.tolist()] == [
        *("tune", "bass", "tune", "drums", "drums"),
        *["harmony"] * 4,
    ]
    # 50 and 50 * velocity / 127
    assert asked.value.tolist() == [89, 85, 74, 93, 78, 89, 89, 85, 89]


def test_notes_outside_the_passage_are_counted_by_the_songs_bars(hand: Conversion) -> None:
    """The sheet is bar 2 alone, called bar 5; the others lie a bar before it and at the song's end."""
    onsets = np.where(np.arange(9) < 7, -1, hand.grid.onset_steps - 8)
    onsets[8] = -1
    grid = replace(
        hand.grid, bars=(GridBar(5, 0, 8, 4, 4),), first_tick=1920, onset_steps=onsets, steps=8
    )
    found = account_of(replace(hand, grid=grid))
    assert found.bar == [4, 4, 4, 4, 4, 4, 4, 5, 5]
    assert found.beat == [1, 1, 1, 2, 2.5, 3, 4, 1, 2.125]
    assert found.bar_index.tolist() == [-1] * 7 + [0, -1]
