"""Roles of parts: arrangements whose roles a musician would not argue about."""

import re

import numpy as np
import pretty_midi
import pytest

from arranger.errors import SettingsError
from arranger.reduce.worth.note_table import note_table
from arranger.reduce.worth.parts_named import asked_parts, parts_named, remarks_on_names
from arranger.reduce.worth.roles import PROGRAM_FAMILIES, find_roles, part_facts
from arranger.reduce.worth.weigh import likelihood, weigh
from arranger.settings import ReduceSettings
from tests.reduce.little_songs import BEAT, Line, song_of

TUNE = [(i, 1, p) for i, p in enumerate([67, 69, 71, 72, 74, 72, 71, 69] * 4)]
CHORDS = [(2 * i, 2, p) for i in range(16) for p in (55, 59, 62)]
BASS = [(i, 1, p) for i, p in enumerate([43, 43, 38, 38] * 8)]
DRUMS = [(i, 0.25, 36) for i in range(32)]


def facts_of(song):
    table = note_table(song)
    return part_facts(table, likelihood(table), len(song.parts))


def roles_of(song, **settings):
    facts = facts_of(song)
    return [entry.role for entry in find_roles(song, facts, [], ReduceSettings(**settings))]


def test_roles_are_heard_without_any_name():
    song = song_of(Line(CHORDS), Line(BASS), Line(TUNE), Line(DRUMS, drum=True))
    assert roles_of(song) == ["harmony", "bass", "tune", "drums"]


def test_a_tune_below_a_quiet_descant_is_found_by_its_name():
    descant = [(4 * i, 4, 84) for i in range(8)]
    song = song_of(Line(descant, "Pad"), Line(TUNE, "Gesang"), Line(BASS, "Bajo"))
    assert roles_of(song) == ["harmony", "tune", "bass"]


def test_a_sheet_written_as_midi_comes_back():
    song = song_of(Line(BASS, "voice 1"), Line(TUNE, "voice 2"))
    assert roles_of(song) == ["tune", "bass"]


def test_the_user_has_the_last_word():
    song = song_of(Line(TUNE, "Flute"), Line(CHORDS, "Strings"), Line(BASS, "Bass guitar"))
    assert roles_of(song, tune="STRING", bass="1") == ["bass", "tune", "harmony"]
    assert roles_of(song, mute=("1",)) == ["muted", "tune", "bass"]


def test_muting_a_name_mutes_all_parts_that_share_it():
    song = song_of(Line(TUNE, "Strings 1"), Line(CHORDS, "Strings 2"), Line(BASS, "Bass"))
    assert [role == "muted" for role in roles_of(song, mute=("strings",))] == [True, True, False]
    twins = song_of(Line(TUNE, "Choir"), Line(CHORDS, "Choir"), Line(BASS, "Bass"))
    assert roles_of(twins, mute=("choir",))[:2] == ["muted", "muted"]


def test_evidence_adds_up_to_the_score_and_comes_strongest_first():
    song = song_of(Line(TUNE, "Flute", program=73), Line(BASS, "Bass", program=33))
    facts = facts_of(song)
    for entry in find_roles(song, facts, [], ReduceSettings()):
        weights = [e.weight for e in entry.evidence]
        score = entry.bass_score if entry.role == "bass" else entry.tune_score
        assert sum(weights) == pytest.approx(score, abs=0.01)
        assert weights == [round(weight, 3) for weight in weights]
        assert [abs(w) for w in weights] == sorted((abs(w) for w in weights), reverse=True)


@pytest.mark.parametrize(
    ("settings", "message"),
    [
        ({"tune": "4"}, "no part 4"),
        ({"tune": "0"}, "no part 0"),
        ({"bass": "tuba"}, "no part has this in the name.*1 'Flute 1', 2 'Flute 2'"),
        ({"tune": "flute"}, "2 parts have"),
        ({"mute": ("",)}, "no part has"),
        ({"tune": "1", "bass": "Flute 1"}, "both tune and bass"),
        ({"tune": "1", "mute": ("1",)}, "muted"),
        ({"tune": "3"}, "plays drums"),
    ],
)
def test_what_cannot_be_meant_is_said(settings, message):
    song = song_of(Line(TUNE, "Flute 1"), Line(BASS, "Flute 2"), Line(DRUMS, "Kit", drum=True))
    with pytest.raises(SettingsError, match=message):
        roles_of(song, **settings)


def test_a_whole_name_beats_a_piece_of_another():
    song = song_of(Line(TUNE, "Horn"), Line(BASS, "Horn 2"))
    assert asked_parts(song, "horn", "--tune") == (0,)


def test_a_pattern_means_all_that_fit():
    song = song_of(Line(TUNE, "Horn 1"), Line(BASS, "Horn 2"), Line(CHORDS, "French horn [3]"))
    assert parts_named(song, "Horn ?", "--mute") == (0, 1)
    assert parts_named(song, "*HORN*", "--mute") == (0, 1, 2)
    assert parts_named(song, "*[3]", "--mute") == (2,)
    with pytest.raises(SettingsError, match=r"no part fits the pattern.*1 'Horn 1'"):
        parts_named(song, "horn", "--mute") and parts_named(song, "tuba*", "--mute")
    starred = song_of(Line(TUNE, "Solo *"), Line(CHORDS, "Solo 2"))
    assert parts_named(starred, "solo *", "--mute") == (0,)


def test_of_several_that_may_have_a_role_the_likeliest_has_it():
    song = song_of(
        Line(CHORDS, "Horn 1"), Line(TUNE, "Horn 2"), Line(BASS, "Horn 3"), Line(TUNE, "Flute"),
        Line(DRUMS, "Horned kit", drum=True),
    )  # fmt: skip
    assert roles_of(song, tune="horn*")[:4] == ["harmony", "tune", "bass", "harmony"]
    assert roles_of(song, tune="horn*", bass="horn*")[:3] == ["harmony", "tune", "bass"]
    assert roles_of(song, tune="horn*", mute=("2",))[1] == "muted"
    with pytest.raises(SettingsError, match="muted"):
        roles_of(song, bass="horn ?", mute=("*horn*",))


def test_names_that_mean_several_parts_are_told_unless_that_is_said():
    song = song_of(Line(TUNE, "Strings 1"), Line(CHORDS, "Strings 2"), Line(BASS, "Bass"))

    def told(**settings):
        return list(remarks_on_names(song, ReduceSettings(**settings)))

    assert told(mute=("strings", "bass", "2", "*strings*"), tune="strings*") == [
        "mute 'strings' means 2 parts, 1 'Strings 1', 2 'Strings 2': '*strings*' says all of them"
    ]
    with pytest.raises(SettingsError, match=r"2 parts have .*'\*strings\*' for the likeliest"):
        told(bass="strings")


def test_a_solo_that_passes_from_one_part_to_another_is_followed():
    def solo(start):
        return [(start + i, 1, p) for i, p in enumerate([72, 74, 76, 77, 79, 77, 76, 74] * 4)]

    def backing(start):
        return [(start + 2 * i, 2, p) for i in range(16) for p in (60, 64)]

    song = song_of(
        Line(solo(0) + backing(32), "one", program=73),
        Line(backing(0) + solo(32), "two", program=25),
        Line([(4 * i, 4, 40) for i in range(16)], "three"),
    )
    weights = weigh(song, ReduceSettings())
    part = np.array([note.part for note in song.notes])
    beat = np.array([note.onset for note in song.notes]) / BEAT
    high = np.array([note.pitch for note in song.notes]) >= 72
    # not where it changes hands: a stretch of two seconds is four beats
    for leader, first, last in ((0, 0, 28), (1, 36, 64)):
        there = (first <= beat) & (beat < last)
        assert weights.tune[there & high].min() > 0.7
        assert weights.tune[there & (part != leader)].max() < 0.3


FAMILIES = {
    "a chromatic percussion instrument": "Chromatic Percussion",
    "a bass instrument": "Bass",
    "a low string instrument": "Cello|Contrabass",
    "a harp": "Orchestral Harp",
    "timpani": "Timpani",
    "a string ensemble": r"(Synth ?)?String(s| Ensemble) [12]",
    "voices": "Choir Aahs|Voice Oohs|Synth Choir",
    "a brass instrument": "Trumpet|Trombone",
    "a tuba": "Tuba",
    "a saxophone": ".* Sax",
    "an oboe or English horn": "Oboe|English Horn",
    "a bassoon": "Bassoon",
    "a woodwind instrument": "Clarinet|Pipe",
    "a synthesizer lead": "Synth Lead",
    "a pad or effect": "Synth Pad|Synth Effects",
    "a percussive instrument": "Percussive",
    "a sound effect": "Sound Effects",
}
"""Which General MIDI names or classes of names (pretty_midi's table of them) each of ours stands for."""


@pytest.mark.parametrize("program", range(128))
def test_every_program_has_the_family_that_its_name_says(program: int) -> None:
    names = (
        pretty_midi.program_to_instrument_name(program),
        pretty_midi.program_to_instrument_class(program),
    )
    wanted = [
        family
        for family, pattern in FAMILIES.items()
        if any(re.fullmatch(pattern, name) for name in names)
    ]
    assert [family for span, family, *_ in PROGRAM_FAMILIES if program in span] == wanted


def test_the_top_of_a_chord_is_the_tune_where_another_part_has_the_bass():
    """Common practice, no source: in a part of chords the tune lies on top."""
    below = [(i, 1, (67, 69, 71, 72, 71, 69)[i % 6]) for i in range(32)]
    above = [(i, 1, (74, 81, 76, 83, 72, 79)[i % 6]) for i in range(32)]
    pad = [(4 * i, 4, pitch) for i in range(8) for pitch in (81, 84, 88)]
    lead = Line([*above, *below], "Lead")
    song = song_of(lead, Line(BASS, "Bass"), Line(pad, "Pad", velocity=60))
    weights = weigh(song, ReduceSettings())
    heights = [note.pitch for note in song.notes if note.part == 0 and weights.tune[note.id] >= 0.5]
    assert heights == [pitch for _, _, pitch in above]
