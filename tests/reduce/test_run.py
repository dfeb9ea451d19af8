"""The reduction as a whole: its laws on any song, and what becomes of notes in plain cases."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.conversion import measure_of
from arranger.engine import load_engine
from arranger.errors import LimitError, SettingsError
from arranger.grid import plan_grid
from arranger.grid.model import GridBar, Section
from arranger.reduce import check_conservation, reduce
from arranger.rows import HOLD, REST, tones
from arranger.settings import GridSettings, ReduceSettings
from arranger.song import read_song
from tests.reduce.little_songs import Line, grid_of, pedalled, song_of, taking

if TYPE_CHECKING:
    from pathlib import Path

    from arranger.reduce import Entry, Reduction
    from arranger.song.model import Song

ENGINE = load_engine("twin-phase")
TAKING = taking(ENGINE)
PLAIN = ReduceSettings()


def reduced(song: Song, choice: ReduceSettings = PLAIN, parts_of_beat: int = 4) -> Reduction:
    return reduce(song, ENGINE, grid_of(song, parts_of_beat), choice)


def entry(reduction: Reduction, note: int) -> Entry:
    return reduction.ledger.entries[note]


@st.composite
def any_songs(draw: st.DrawFn) -> Song:
    """Return songs of up to three parts and a drum part, often dense, on and off the grid."""
    times = st.integers(0, 24).map(lambda n: n / 8)
    lengths = st.sampled_from((0.0, 0.125, 0.25, 0.5, 0.75, 1.0, 2.0))
    notes = st.lists(st.tuples(times, lengths, st.integers(18, 110)), min_size=1, max_size=12)
    lines = draw(st.lists(notes, min_size=1, max_size=3))
    made = [
        Line(sorted(row), name=f"part {i}", velocity=draw(st.sampled_from((2, 60, 120))))
        for i, row in enumerate(lines)
    ]
    keys = st.sampled_from((36, 38, 42, 49, 27))
    hits = draw(st.lists(st.tuples(times, st.just(0.25), keys), max_size=12))
    if hits:
        made.append(Line(sorted(hits), name="drums", drum=True))
    return song_of(*made)


@settings(max_examples=50, deadline=None)
@given(
    any_songs(),
    st.sampled_from((2, 4)),
    st.sampled_from(("none", "light", "full")),
    st.sampled_from(("tune-and-bass", "two-highest", "bass-and-chord", "broken-chord")),
)
def test_every_note_is_accounted_for_and_nothing_sounds_unasked(
    song: Song, parts_of_beat: int, drums: str, texture: str
) -> None:
    grid = grid_of(song, parts_of_beat)
    reduction = reduce(song, ENGINE, grid, ReduceSettings(drums=drums, texture=texture))
    check_conservation(reduction.ledger, len(song.notes))
    assert sum(reduction.ledger.outcomes().values()) == len(song.notes)
    for row, sources in (
        (reduction.voice1, reduction.sources1),
        (reduction.voice2, reduction.sources2),
    ):
        for step, (pitch, source) in enumerate(zip(tones(row), sources, strict=True)):
            assert (pitch is None) == (source < 0)
            if pitch is not None:
                assert (pitch - song.notes[source].pitch) % 12 == 0
                assert pitch in ENGINE.pitches
                assert grid.onset_steps[source] <= step < grid.end_steps[source]
    for step, (name, source) in enumerate(
        zip(reduction.drums, reduction.drum_sources, strict=True)
    ):
        assert (name is None) == (source < 0)
        if name is not None:
            assert song.notes[source].drum == (name != "gap")
            assert grid.onset_steps[source] == step


@settings(max_examples=40, deadline=None)
@given(any_songs())
def test_the_ledger_says_what_the_rows_play(song: Song) -> None:
    grid = grid_of(song)
    reduction = reduce(song, ENGINE, grid, PLAIN)
    rows = {1: tones(reduction.voice1), 2: tones(reduction.voice2)}
    drums = {step for step, name in enumerate(reduction.drums) if name is not None}
    for found in reduction.ledger.entries:
        note = song.notes[found.note]
        for span in found.spans:
            if span.voice == 0:
                assert span.step in drums
                continue
            heard = [rows[span.voice][s] for s in range(span.step, span.step + span.steps)]
            assert span.steps >= 1
            assert set(heard) == {found.pitch_out}
        if found.outcome == "kept" and not note.drum:
            assert found.spans[0].step == grid.onset_steps[note.id]
            assert found.pitch_out == note.pitch
            sources = (reduction.sources1, reduction.sources2)[found.spans[0].voice - 1]
            assert sources[found.spans[0].step] == note.id
        if found.outcome == "dropped" and found.reasons[0] in ("voices-full", "stands-alone"):
            both = len(found.by) >= 2
            assert both == (found.reasons[0] == "voices-full"), "so many voices were busy"


def test_two_parts_within_range_lose_nothing() -> None:
    upper = Line([(0, 1, 72), (1, 0.5, 74), (1.5, 0.5, 76), (2, 1, 77), (3.5, 0.5, 72)], "flute")
    lower = Line([(0, 2, 48), (2.5, 0.5, 50), (3, 1, 47)], "cello")
    reduction = reduced(song_of(upper, lower))
    assert reduction.ledger.outcomes() == {"kept": 8, "changed": 0, "merged": 0, "dropped": 0}
    assert tones(reduction.voice1)[:4] == [72] * 4
    assert tones(reduction.voice2)[:8] == [48] * 8


REPEATED = song_of(Line([(0, 1, 60), (1, 1, 60), (2, 0.25, 60), (2.25, 0.25, 60)]))


def test_a_repeated_note_is_parted_by_a_short_silence() -> None:
    reduction = reduced(REPEATED)
    row = (*(60, HOLD, HOLD, HOLD) * 2, 60, 60)
    assert row in (reduction.voice1, reduction.voice2)
    assert [step for step, name in enumerate(reduction.drums) if name == "gap"] == [4, 8, 9]
    assert reduction.drum_sources[4] == 1
    assert [each.outcome for each in reduction.ledger.entries] == ["kept"] * 4


def test_without_one_a_repeated_note_gets_a_silent_step() -> None:
    reduction = reduce(REPEATED, TAKING, grid_of(REPEATED), PLAIN)
    row = (*(60, HOLD, HOLD, REST), *(60, HOLD, HOLD, REST), 60, HOLD)
    assert row in (reduction.voice1, reduction.voice2)
    assert entry(reduction, 0).reasons == ("shortened-for-gap",)
    assert entry(reduction, 0).by == (1,)
    assert entry(reduction, 2).outcome == "kept"
    assert entry(reduction, 3).outcome == "merged"
    assert entry(reduction, 3).reasons == ("repeat-tied",)
    assert entry(reduction, 3).by == (2,)


def test_a_silence_of_a_whole_step_is_no_gap() -> None:
    """An engine made from a built-in one by ``drum_takes_step = true`` still has its rest."""
    engine = replace(ENGINE, drum_takes_step=True)
    assert engine.gap is None
    grid = grid_of(REPEATED)
    assert (
        reduce(REPEATED, engine, grid, PLAIN).ledger == reduce(REPEATED, TAKING, grid, PLAIN).ledger
    )


def test_a_chord_keeps_two_and_says_which_were_in_the_way() -> None:
    parts = [
        Line([(0, 2, pitch)], name) for pitch, name in ((76, "lead"), (67, "mid"), (48, "bass"))
    ]
    reduction = reduced(song_of(*parts))
    assert [e.outcome for e in reduction.ledger.entries] == ["kept", "dropped", "kept"]
    assert entry(reduction, 1).reasons == ("voices-full",)
    assert entry(reduction, 1).by == (0, 2)


def test_doubles_are_merged() -> None:
    reduction = reduced(
        song_of(
            Line([(0, 2, 72)], "melody"),
            Line([(0, 2, 72)], "flute"),
            Line([(0, 2, 60)], "viola"),
            Line([(0, 2, 45)], "bass"),
            Line([(0, 2, 64)], "horn"),
        )
    )
    outcomes = [(e.outcome, e.reasons) for e in reduction.ledger.entries]
    assert ("merged", ("same-pitch-doubled",)) in outcomes
    assert ("merged", ("octave-doubled",)) in outcomes
    assert outcomes[3] == ("kept", ())
    assert outcomes[4] == ("dropped", ("voices-full",))


KICKS = Line([(0, 0.25, 36), (4, 0.25, 36)], "drums", drum=True)
BASS = Line([(0, 4, 43), (4, 4, 43)], "bass")


def test_a_tone_on_a_drum_starts_right_after_it() -> None:
    found = reduced(song_of(Line([(0, 0.25, 72), (0.25, 2, 74)], "melody"), BASS, KICKS))
    kick = next(drum for drum in ENGINE.drums if drum.name == "kick")
    assert (found.drums[0], found.drums[16]) == ("kick", "kick")
    tune = entry(found, 0)
    assert (tune.outcome, tune.reasons, tune.by) == ("kept", (), (2,))
    assert tune.late_seconds == pytest.approx(kick.cycles / ENGINE.clock_hz)
    assert entry(found, 3).late_seconds == 0
    assert (entry(found, 4).outcome, found.voice2[16]) == ("kept", 43), "the kick parts the two"
    assert found.voice2[15] == HOLD


def test_where_drums_take_their_step_one_delays_long_tones_only() -> None:
    long = song_of(Line([(0, 2, 72), (4, 4, 74)], "melody"), KICKS)
    found = reduce(long, TAKING, grid_of(long), PLAIN)
    assert found.drums[0] == "kick"
    assert (entry(found, 0).reasons, entry(found, 0).by) == (("delayed-by-drum",), (1,))
    assert entry(found, 0).late_seconds == grid_of(long).step_length.seconds
    assert found.voice1[0] == 72, "the tone stands on its own step, for who takes the drum away"
    short = song_of(Line([(0, 0.25, 72), (0.25, 2, 74)], "melody"), BASS, KICKS)
    found = reduce(short, TAKING, grid_of(short), PLAIN)
    assert (found.drums[0], found.drums[16]) == (None, "kick")
    assert (entry(found, 2).reasons, entry(found, 2).by) == (("drum-thinned",), (0, 1))


def test_drums_by_amount_and_by_sound() -> None:
    hits = [(beat / 2, 0.25, 42) for beat in range(8)]
    song = song_of(Line([(0, 4, 72)], "melody"), Line(hits, "drums", drum=True))
    full, none = reduced(song), reduced(song, replace(PLAIN, drums="none"))
    assert sum(name == "hat" for name in full.drums) == 8
    taken = reduce(song, TAKING, grid_of(song), PLAIN)
    assert set(taken.drums) == {None}, "hats must not shred a long tone"
    assert set(none.drums) == {None}
    assert set(reduced(song, replace(PLAIN, drums="light")).drums) == {None}
    whistle = song_of(Line([(0, 4, 72)], "melody"), Line([(1, 1, 26)], "drums", drum=True))
    assert entry(reduced(whistle), 1).reasons == ("no-drum-sound",)
    together = song_of(
        Line([(2, 2, 72)], "melody"), Line([(0, 0.25, 36), (0, 0.25, 42)], "drums", drum=True)
    )
    joint, single = reduced(together), reduce(together, TAKING, grid_of(together), PLAIN)
    assert joint.drums[0] == "kick-hat"
    assert [entry(joint, note).outcome for note in (0, 1)] == ["kept", "kept"]
    assert entry(single, 1).reasons == ("same-step",)
    assert entry(single, 1).by == (0,)


def test_muted_soft_and_outside_notes_say_so() -> None:
    song = song_of(
        Line([(0, 1, 72)], "melody"),
        Line([(0, 1, 60)], "pad"),
        Line([(0, 1, 50)], "hum", velocity=2),
    )
    reduction = reduced(song, replace(PLAIN, mute=("pad",)))
    assert [e.reasons for e in reduction.ledger.entries] == [(), ("track-muted",), ("silent",)]
    grid = grid_of(song)
    outside = replace(grid, onset_steps=np.where(np.arange(3) == 0, -1, grid.onset_steps))
    assert entry(reduce(song, ENGINE, outside, PLAIN), 0).reasons == ("beyond-limit",)


def test_pitches_outside_the_table_are_folded() -> None:
    high = max(ENGINE.pitches) + 3
    reduction = reduced(song_of(Line([(0, 1, high)], "melody")))
    assert entry(reduction, 0).reasons == ("octave-folded",)
    assert entry(reduction, 0).pitch_out == high - 12


def test_a_song_of_drums_alone() -> None:
    reduction = reduced(song_of(Line([(0, 0.25, 36), (1, 0.25, 42)], "drums", drum=True)))
    assert reduction.drums[0] == "kick"
    assert reduction.drums[4] == "hat"
    assert set(reduction.voice1) == {REST}


def test_cost_overrides_are_checked() -> None:
    song = song_of(Line([(0, 1, 60)]))
    with pytest.raises(SettingsError, match="'leep'; did you mean 'leap'"):
        reduced(song, replace(PLAIN, costs={"leep": 1.0}))
    with pytest.raises(SettingsError, match="between 0 and 1000"):
        reduced(song, replace(PLAIN, costs={"drum": float("nan")}))
    with pytest.raises(SettingsError, match="'entry'"):
        reduced(song, replace(PLAIN, costs={"entry": 0.0}))
    with pytest.raises(SettingsError, match="'break' must be at least 1"):
        reduced(song, replace(PLAIN, costs={"break": 0.5}))


BAND = song_of(
    Line([(0, 1, 76), (1, 1, 74), (2, 2, 72), (4, 2, 76), (6, 2, 71)], "melody"),
    Line([(0, 4, 64), (0, 4, 60), (0, 4, 55), (4, 4, 62), (4, 4, 59), (4, 4, 55)], "chords"),
    Line([(0, 2, 36), (2, 2, 43), (4, 2, 43), (6, 2, 38)], "bass"),
)


def test_two_highest() -> None:
    reduction = reduced(BAND, replace(PLAIN, texture="two-highest"))
    assert tones(reduction.voice1)[::8] == [76, 72, 76, 71]
    assert tones(reduction.voice2)[::8] == [64, 64, 62, 62]


def test_bass_and_chord_leaves_the_tune_to_a_player() -> None:
    reduction = reduced(BAND, replace(PLAIN, texture="bass-and-chord"))
    assert tones(reduction.voice2)[::8] == [36, 43, 43, 38]
    assert set(tones(reduction.voice1)) <= {64, 60, 55, 62, 59}


def test_a_broken_chord_takes_turns_bass_first() -> None:
    reduction = reduced(BAND, replace(PLAIN, texture="broken-chord"))
    assert tones(reduction.voice1)[::4] == [76, 74, 72, 72, 76, 76, 71, 71]
    assert tones(reduction.voice2)[:8] == [36, 55, 60, 60, 36, 55, 60, 64]
    assert entry(reduction, 3).reasons == ("broken-chord",)


def test_as_written_plays_two_parts_as_they_are() -> None:
    song = song_of(
        Line([(0, 1, 60), (1, 1, 60), (2, 0.25, 48)], "Voice 1"),
        Line([(0, 1, 72), (0.5, 1, 72)], "voice 2"),
        Line([(2, 0.25, 36), (2, 0.25, 42)], "drums", drum=True),
    )
    reduction = reduced(song, replace(PLAIN, texture="as-written"))
    assert reduction.voice1 == (*(60, HOLD, HOLD, HOLD) * 2, 48)
    assert reduction.voice2 == (72, HOLD, *(72, HOLD, HOLD, HOLD), REST, REST, REST)
    assert reduction.drums == (*(None,) * 8, "kick-hat")
    assert entry(reduction, 2).reasons == ("repeat-tied",)
    assert [entry(reduction, note).outcome for note in (4, 5, 6)] == ["kept"] * 3
    taken = reduce(song, TAKING, grid_of(song), replace(PLAIN, texture="as-written"))
    assert taken.drums == (*(None,) * 8, "kick")
    assert entry(taken, 4).reasons == ("under-drum",)
    assert entry(taken, 6).reasons == ("same-step",)
    with pytest.raises(SettingsError, match="no part is named 'voice 1' or 'voice 2'"):
        reduced(BAND, replace(PLAIN, texture="as-written"))


def test_a_tune_under_a_held_pedal_moves_on() -> None:
    ringing = [(0, 3, 79), (1, 3, 77), (2, 3, 76), (3, 3, 74), (4, 4, 72)]
    reduction = reduced(song_of(Line(ringing, "melody"), Line([(0, 8, 48)], "bass")))
    assert tones(reduction.voice1)[::4] == [79, 77, 76, 74, 72, 72, 72, 72]
    assert tones(reduction.voice2) == [48] * 32
    assert entry(reduction, 0).reasons == ("shortened-by-next-note",)
    assert entry(reduction, 0).by == (2,)


def test_what_only_a_pedal_holds_may_be_left() -> None:
    """The bass rings on under a pedal; when another part plays, voice 2 goes over to it."""
    tune = Line([(beat, 1, 79 + beat % 3) for beat in range(8)], "melody")
    answer = Line([(2, 1, 64), (3, 1, 62), (4, 1, 60), (5, 1, 59)], "strings")
    held = song_of(tune, Line([(0, 8, 48)], "bass"), answer)
    assert tones(reduced(held).voice2) == [48] * 32
    reduction = reduced(pedalled(held, 1.0))
    assert tones(reduction.voice2)[8:24:4] == [64, 62, 60, 59]
    assert entry(reduction, 1).outcome == "kept"


def test_a_song_is_simplified_to_fit_its_bytes(demo_song: Path) -> None:
    song = read_song(demo_song)
    grid = plan_grid(song, ENGINE, GridSettings())
    free = reduce(song, ENGINE, grid, PLAIN)
    tight = reduce(song, ENGINE, grid, replace(PLAIN, max_bytes=150), measure_of(ENGINE, grid))
    check_conservation(tight.ledger, len(song.notes))
    assert "may take 150" in tight.remarks[-1]
    told = re.search(
        r"to (\d+) bytes.* more would stay from --max-bytes (\d+) on", tight.remarks[-1]
    )
    assert told is not None
    size, following = int(told[1]), int(told[2])
    assert size <= 150 < following
    again = reduce(
        song, ENGINE, grid, replace(PLAIN, max_bytes=following), measure_of(ENGINE, grid)
    )
    taken = re.search(r"to (\d+) bytes", again.remarks[-1])
    assert taken is not None
    assert size < int(taken[1]) <= following
    blamed = [e for e in tight.ledger.entries if e.reasons == ("beyond-limit",)]
    assert blamed
    before = [free.ledger.entries[e.note] for e in blamed]
    kept_silent = [e for e in before if e.outcome == "dropped"]
    assert 0 < len(kept_silent) < len(blamed)
    assert not any("stands-alone" in e.reasons for e in kept_silent)
    alone = [e.note for e in tight.ledger.entries if e.reasons == ("stands-alone",)]
    assert all(free.ledger.entries[note].reasons == ("stands-alone",) for note in alone)
    assert f": {len(blamed) - len(kept_silent)} notes more are left out" in tight.remarks[-1]
    some = reduce(song, ENGINE, grid, replace(PLAIN, max_bytes=300), measure_of(ENGINE, grid))

    def heard(part: str) -> float:
        notes = [note.id for note in song.notes if song.parts[note.part].name == part]
        return sum(entry(some, note).outcome != "dropped" for note in notes) / len(notes)

    assert heard("trumpet") > 0.85, "the tune is what goes last"
    assert heard("bass") > 0.85 > 0.7 > heard("strings"), "turns go before the bass"
    with pytest.raises(SettingsError, match="nothing says how many"):
        reduce(song, ENGINE, grid, replace(PLAIN, max_bytes=1))
    with pytest.raises(LimitError, match="even when it is simplified, more than 1"):
        reduce(song, ENGINE, grid, replace(PLAIN, max_bytes=1), measure_of(ENGINE, grid))


def test_an_echo_is_merged_with_what_it_repeats() -> None:
    pitches = (76, 79, 74, 72, 77, 76, 74, 71, 72, 76, 79, 81)
    melody = [(i, 1, pitch) for i, pitch in enumerate(pitches)]
    echo = [(i + 0.5, 1, pitch) for i, pitch in enumerate(pitches)]
    bass = [(i * 2, 2, 48 - i) for i in range(6)]
    song = song_of(
        Line(melody, "melody"), Line(echo, "echo", velocity=50), Line(bass, "bass", program=32)
    )
    reduction = reduced(song)
    outcomes = {e.outcome for e in reduction.ledger.entries if song.notes[e.note].part == 1}
    assert outcomes == {"merged"}


def test_memory_stays_bounded_when_everything_rings(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("arranger.reduce.choose.candidates.MOST_SOUNDING", 120)
    monkeypatch.setattr("arranger.reduce.choose.candidates.MOST_CELLS", 400)
    chords = [(beat, 16 - beat, 40 + 3 * beat + k) for beat in range(16) for k in (0, 7)]
    song = song_of(Line(chords, "organ"))
    reduction = reduced(song, replace(PLAIN, texture="tune-and-bass"))
    check_conservation(reduction.ledger, len(song.notes))
    assert "the 4 that matter most" in reduction.remarks[0]
    assert "taken to end earlier" in reduction.remarks[1]


def test_each_section_has_the_texture_asked_for() -> None:
    grid = grid_of(BAND)
    bars = (GridBar(1, 0, 16, 4, 4), GridBar(2, 16, 16, 4, 4))
    grid = replace(grid, bars=bars, sections=(Section("B", 1, 1),))
    whole = reduce(BAND, ENGINE, grid, replace(PLAIN, texture="broken-chord"))
    plain = reduce(BAND, ENGINE, grid, PLAIN)
    for where in ("B", "2", "2-2"):
        mixed = replace(PLAIN, section_textures={where: "broken-chord"})
        found = reduce(BAND, ENGINE, grid, mixed)
        assert tones(found.voice2)[:16] == tones(plain.voice2)[:16]
        assert tones(found.voice2)[16:] == tones(whole.voice2)[16:]
        assert found.voice1 == plain.voice1
    with pytest.raises(SettingsError, match="no section and no bar 'C'; sections: B; bars: 1-2"):
        reduce(BAND, ENGINE, grid, replace(PLAIN, section_textures={"C": "two-highest"}))


def test_a_note_between_steps_gives_way_to_the_note_on_the_step() -> None:
    ornament = [(0, 0.9, 72), (0.9, 0.1, 74), (1, 1, 76)]
    reduction = reduced(song_of(Line(ornament, "melody"), Line([(0, 2, 48)], "bass")), PLAIN, 2)
    assert [e.outcome for e in reduction.ledger.entries] == ["kept", "kept", "dropped", "kept"]
    assert entry(reduction, 2).reasons == ("same-step",)
    assert entry(reduction, 2).by == (3,)


def test_a_grace_note_gives_way_to_the_note_it_leads_to() -> None:
    tune = [(0, 1, 72), (1, 0, 75), (1, 1, 76), (2, 0, 79)]
    reduction = reduced(song_of(Line(tune, "melody")))
    outcomes = [e.outcome for e in reduction.ledger.entries]
    # the last one leads to nothing: a note of no length gets one step
    assert outcomes == ["kept", "dropped", "kept", "changed"]
    assert entry(reduction, 1).reasons == ("same-step",)
    assert entry(reduction, 1).by == (2,)
    assert 75 not in {*reduction.voice1, *reduction.voice2}
