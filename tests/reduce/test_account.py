"""The account of finished rows: what is heard decides what the ledger says."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.columns import joined_texts
from arranger.conversion import convert
from arranger.engine import load_engine
from arranger.reduce import check_conservation, reduce
from arranger.reduce.ledger import columns_of
from arranger.reduce.perform.heard import Heard
from arranger.reduce.tell.laws import broken_entries, broken_rows, remarks_on_laws
from arranger.reduce.tell.sentences import explanations
from arranger.rows import HOLD, REST
from arranger.settings import DRUM_AMOUNTS, TEXTURES, ReduceSettings, Settings
from tests.reduce.little_songs import Line, grid_of, pedalled, silencing, song_of, taking

if TYPE_CHECKING:
    import pytest

    from arranger.song.model import Song

ENGINES = {name: load_engine(name) for name in ("twin-phase", "twin-counter", "pc-alternate")}
PLAIN = ReduceSettings()


@st.composite
def bands(draw: st.DrawFn) -> Song:
    """Return a line and parts that double it, follow it or cross it, with repeated notes and drums."""
    count = draw(st.integers(2, 10))
    lengths = draw(st.lists(st.sampled_from((0.25, 0.5, 1.0, 2.0)), min_size=count, max_size=count))
    pitches = draw(
        st.lists(st.sampled_from((60, 60, 62, 64, 67, 72)), min_size=count, max_size=count)
    )
    onsets = [sum(lengths[:index]) for index in range(count)]
    line = list(zip(onsets, lengths, pitches, strict=True))
    made = [Line(line, "lead")]
    for name in draw(st.lists(st.sampled_from(("unison", "octave", "late", "mirror")), max_size=3)):
        late = draw(st.sampled_from((0.0, 0.25, 0.5, 2.0))) if name == "late" else 0.0
        mine = {"octave": lambda p: p - 12, "mirror": lambda p: 128 - p}.get(name, lambda p: p)
        held = draw(st.sampled_from((0.5, 1.0, 1.5)))
        made.append(Line([(o + late, d * held, mine(p)) for o, d, p in line], name, velocity=70))
    hits = st.tuples(
        st.integers(0, 24).map(lambda n: n / 4), st.just(0.25), st.sampled_from((36, 38, 42, 27))
    )
    made.append(Line(sorted(draw(st.lists(hits, max_size=30))), "drums", drum=True))
    return pedalled(song_of(*made), draw(st.sampled_from((0.1, 0.4, 0.5, 9.0))))


@settings(max_examples=100, deadline=None)
@given(
    song=bands(),
    engine=st.sampled_from(sorted(ENGINES)),
    texture=st.sampled_from([each for each in TEXTURES if each != "as-written"]),
    drums=st.sampled_from(DRUM_AMOUNTS),
    parts_of_beat=st.sampled_from((1, 2, 4)),
)
def test_the_account_of_any_band_is_what_sounds(
    song: Song, engine: str, texture: str, drums: str, parts_of_beat: int
) -> None:
    grid = grid_of(song, parts_of_beat)
    choice = replace(PLAIN, texture=texture, drums=drums)
    reduction = reduce(song, ENGINES[engine], grid, choice)
    check_conservation(reduction.ledger, len(song.notes))
    assert broken_entries(ENGINES[engine], reduction) == []
    assert broken_rows(ENGINES[engine], reduction) == []
    for entry in reduction.ledger.entries:
        onset, end = int(grid.onset_steps[entry.note]), int(grid.end_steps[entry.note])
        for span in entry.spans:
            assert onset <= span.step < end, "it is heard in its own time"
        if entry.outcome == "changed" and "broken-chord" not in entry.reasons:
            assert entry.spans[0].step - onset < parts_of_beat, "a beat late is lost"


@settings(max_examples=40, deadline=None)
@given(
    song=bands(),
    texture=st.sampled_from(("broken-chord", "tune-and-bass")),
    drums=st.sampled_from(DRUM_AMOUNTS),
    parts_of_beat=st.sampled_from((1, 2)),
)
def test_what_is_told_of_all_notes_is_told_of_each_alone(
    song: Song, texture: str, drums: str, parts_of_beat: int
) -> None:
    grid = grid_of(song, parts_of_beat)
    reduction = reduce(
        song, ENGINES["twin-phase"], grid, replace(PLAIN, texture=texture, drums=drums)
    )
    count = len(song.notes)

    def told(notes: range | None) -> list[str]:
        bars, beats = [1] * count, [1.0] * count
        return joined_texts(
            explanations(song, grid, reduction, bars=bars, beats=beats, notes=notes)
        )

    assert told(None) == [line for note in range(count) for line in told(range(note, note + 1))]


@settings(max_examples=50, deadline=None)
@given(song=bands(), parts_of_beat=st.sampled_from((1, 2, 4)))
def test_a_note_heard_until_its_key_is_up_is_not_called_short(
    song: Song, parts_of_beat: int
) -> None:
    grid = grid_of(song, parts_of_beat)
    reduction = reduce(song, ENGINES["twin-phase"], grid, PLAIN)
    for entry in reduction.ledger.entries:
        note = song.notes[entry.note]
        up = (note.onset + note.duration - note.rings) / song.ticks_per_beat * parts_of_beat
        if entry.outcome in ("kept", "changed") and not note.drum and len(entry.spans) == 1:
            end = entry.spans[-1].step + entry.spans[-1].steps
            short = {"shortened-by-next-note", "shortened-for-gap"} & {*entry.reasons}
            assert not short or end < up - 0.5


def test_a_pitch_that_only_stands_under_a_drum_covers_nothing() -> None:
    # the part that comes late stood in a voice under the kick, and was taken to be heard there
    tune = [(0, 0.25, 60), (0.25, 1, 60), (1.25, 2, 60), (3.25, 1, 60)]
    unison = [(0, 0.125, 60), (0.25, 0.5, 60), (1.25, 1, 60), (3.25, 0.5, 60)]
    song = song_of(
        Line(tune, "lead"),
        Line([(onset + 0.5, length, pitch) for onset, length, pitch in tune], "late", velocity=70),
        Line(unison, "unison", velocity=70),
        Line([(onset, length, 48) for onset, length, _ in unison], "octave", velocity=70),
        Line([(1.75, 0.25, 36)], "drums", drum=True),
    )
    reduction = reduce(song, ENGINES["twin-phase"], grid_of(song, 2), PLAIN)
    check_conservation(reduction.ledger, len(song.notes))
    assert broken_entries(ENGINES["twin-phase"], reduction) == []


def heard(voice1: tuple[int, ...], voice2: tuple[int, ...], drums: tuple[int, ...]) -> Heard:
    """Return what is heard of two rows whose notes are named by pitch."""
    rows = (voice1, voice2)
    sources = []
    for row in rows:
        held, source = -1, []
        for cell in row:
            held = held if cell == HOLD else -1 if cell == REST else cell
            source.append(held)
        sources.append(source)
    return Heard(rows, sources, drums, silencing(drums))


def test_runs_are_cut_by_drums_at_their_ends_and_go_on_over_them() -> None:
    found = heard((60, HOLD, HOLD, HOLD, 62, HOLD), (REST,) * 6, (7, -1, 7, -1, 7, 7))
    (run,) = found.runs[60]
    assert (run.start, run.end, run.first, run.last) == (0, 4, 1, 4)
    assert 62 not in found.runs, "a tone under drums alone isn't heard"
    assert found.heard_steps([run], 0, 6) == 2
    assert found.heard_between(run, 2, 6) == (1, 3, 1)
    assert found.within(0, 2, 3) == [], "its only step there is under a drum"


def test_a_tone_goes_on_from_either_voice() -> None:
    rows = ((60, HOLD, REST, REST), (REST, REST, 60, HOLD))
    sources = ((1, 1, -1, -1), (-1, -1, 2, 2))
    found = Heard(rows, sources, (-1,) * 4, silencing((-1,) * 4))
    assert found.tied_to(found.runs[2][0]) == 1
    parted = Heard(rows, sources, (-1, 9, -1, -1), silencing((-1, 9, -1, -1)))
    assert parted.tied_to(parted.runs[2][0]) is None, "the drum parts them"


def test_two_runs_of_a_pitch_at_once_count_once() -> None:
    rows = ((60, HOLD, HOLD, REST), (REST, 60, HOLD, HOLD))
    found = Heard(rows, ((1, 1, 1, -1), (-1, 2, 2, 2)), (-1,) * 4, silencing((-1,) * 4))
    both = [found.runs[1][0], found.runs[2][0]]
    assert found.heard_steps(both, 0, 4) == 4
    assert found.heard_steps(both, 1, 3) == 2
    assert found.heard_steps(both[::-1], 0, 4) == 4, "in whatever order"


def test_an_echo_after_its_note_is_not_called_heard() -> None:
    pitches = (76, 79, 74, 72, 77, 76, 74, 71, 72, 76, 79, 81)
    melody = [(i, 0.5, pitch) for i, pitch in enumerate(pitches)]
    echo = [(i + 0.5, 0.5, pitch) for i, pitch in enumerate(pitches)]
    inner = [(i + 0.5, 0.5, pitch - 5) for i, pitch in enumerate(pitches)]
    bass = [(i * 2, 2, 48 - i) for i in range(6)]
    song = song_of(
        Line(melody, "melody"),
        Line(echo, "echo", velocity=50),
        Line(inner, "inner"),
        Line(bass, "bass", program=32),
    )
    reduction = reduce(song, ENGINES["twin-phase"], grid_of(song), PLAIN)
    for entry in reduction.ledger.entries:
        if song.notes[entry.note].part == 1 and entry.outcome == "merged":
            assert entry.spans[0].step >= grid_of(song).onset_steps[entry.note]


def test_a_note_that_fills_in_a_beat_late_is_dropped_and_says_so() -> None:
    song = song_of(
        Line([(0, 4, 76)], "melody"),
        Line([(0, 2, 43)], "bass", program=32),
        Line([(0, 4, 60)], "pad", velocity=60),
    )
    grid = grid_of(song)
    reduction = reduce(song, ENGINES["twin-phase"], grid, PLAIN)
    pad = next(note.id for note in song.notes if note.pitch == 60)
    entry = reduction.ledger.entries[pad]
    assert pad in reduction.sources2[8:], "it is heard from the third beat on"
    assert (entry.outcome, entry.reasons, entry.spans) == ("dropped", ("voices-full",), ())
    told = joined_texts(explanations(song, grid, reduction, bars=[1] * 3, beats=[1.0] * 3))[pad]
    assert told.endswith("for a beat or more; later it fills in")
    assert reduction.ledger.outcomes()["changed"] == 0


def test_a_contradiction_is_told_with_song_and_note_and_stops_nothing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    song = song_of(Line([(0, 1, 72), (1, 1, 74)], "melody"))
    engine = ENGINES["twin-phase"]
    sound = convert(song, engine, Settings())
    assert remarks_on_laws(song, engine, sound.reduction) == ()
    entries = sound.reduction.ledger.entries
    wrong = (entries[0]._replace(spans=()), entries[1]._replace(pitch_out=75))
    ledger = replace(sound.reduction.ledger, columns=columns_of(wrong))
    broken = replace(sound.reduction, ledger=ledger)
    assert [note for note, _ in broken_entries(engine, broken)] == [0, 1]
    monkeypatch.setattr("arranger.conversion.pipeline.reduce", lambda *_: broken)
    told = convert(song, engine, Settings())
    assert told.sheet.voice1 == sound.sheet.voice1
    assert any("made.mid, note 0 (C5 of 'melody')" in r for r in told.reduction.remarks)


def test_who_held_the_voices_is_asked_of_the_steps_without_a_drum() -> None:
    song = song_of(
        Line([(1.25, 0, 18), (1.75, 0, 18)], "high", velocity=60),
        Line([(0, 0, 18), (0, 0, 18), (0.25, 2, 18), (0.875, 2, 19)], "low", velocity=60),
        Line([(0, 0, 18)], "hum", velocity=2),
        Line([(0.875, 0.25, 36)], "drums", drum=True),
    )
    choice = replace(PLAIN, costs={"unison": 0.02})
    engine = taking(ENGINES["twin-phase"])
    late = reduce(song, engine, grid_of(song, 4), choice).ledger.entries[4]
    assert song.notes[4].pitch == 19
    assert late.reasons == ("voices-full",)
    assert [song.notes[note].pitch for note in late.by] == [18, 18]
