"""What MIDI messages mean: programs, volume, drums, tuning, bends, tempo, metre, patterns."""

from __future__ import annotations

import pytest

from arranger.errors import LimitError, SongError
from arranger.song import KeyChange, MetreChange, TempoChange
from arranger.song.midi import messages, walk
from arranger.song.time import seconds_at, song_bars
from tests.song.midi_bytes import (
    QUARTER_C4,
    QUARTER_E4,
    chunk,
    header,
    meta,
    notes,
    one_track,
    read,
    track,
)

GM_ON = "00 F0 05 7E 7F 09 01 F7"
GS_ON = "00 F0 0A 41 10 42 12 40 00 7F 00 41 F7"
XG_ON = "00 F0 08 43 10 4C 00 00 7E 00 F7"


def quarter(channel: int, pitch: int = 60) -> str:
    return f"00 9{channel:X} {pitch:02X} 40 60 8{channel:X} {pitch:02X} 40"


# Parts


def test_several_channels_and_programs_in_one_track_split_into_parts() -> None:
    song = read(
        one_track("00 C0 28 00 C1 20", quarter(0), quarter(1), "00 C0 49", quarter(0), quarter(9))
    )
    found = [(p.channel, p.program, p.name, p.notes, p.drum) for p in song.parts]
    assert found == [
        (0, 40, "Violin", 1, False),
        (1, 32, "Acoustic Bass", 1, False),
        (0, 73, "Flute", 1, False),
        (9, 0, "Drums", 1, True),
    ]
    assert [note.part for note in song.notes] == [0, 1, 2, 3]


def test_one_channel_in_several_tracks_makes_several_parts_with_their_own_programs() -> None:
    # Each track rules its own notes, though a synthesizer would let the last program win.
    song = read(
        header(1, 2)
        + track("00", meta(3, b"high"), "00 C0 28", quarter(0))
        + track("00", meta(3, b"low"), "00 C0 2B", quarter(0, 40))
    )
    assert [(p.name, p.program) for p in song.parts] == [("high", 40), ("low", 43)]


def test_programs_set_in_another_track_count_when_the_track_has_none() -> None:
    song = read(header(1, 2) + track("00 C0 28 00 B0 07 32 00 B0 0A 10") + track(quarter(0)))
    assert (song.parts[0].program, song.parts[0].pan) == (40, 16)
    assert song.notes[0].loudness == pytest.approx(64 / 127 * 50 / 127)


def test_a_track_that_changes_its_program_names_both_parts() -> None:
    song = read(header(1, 1) + track("00", meta(3, b"solo"), "00 C0 28", quarter(0), "00 C0 49",
                                     quarter(0)))  # fmt: skip
    assert [p.name for p in song.parts] == ["solo (Violin)", "solo (Flute)"]


def test_another_bank_of_the_same_program_is_another_part() -> None:
    song = read(one_track("00 C0 28", quarter(0), "00 B0 00 08 00 B0 20 01", quarter(0), "00 C0 28",
                          quarter(0)))  # fmt: skip
    # The bank counts from the program change on.
    assert [(p.program, p.name, p.notes) for p in song.parts] == [
        (40, "Violin, bank 0/0", 2), (40, "Violin, bank 8/1", 1),
    ]  # fmt: skip


def test_volume_and_expression_multiply_and_reach_the_notes_of_their_tick() -> None:
    song = read(one_track("00 90 3C 7F 00 B0 07 64 00 B0 0B 40 60 80 3C 00"))
    assert song.notes[0].loudness == pytest.approx(100 / 127 * 64 / 127)
    # Until set, volume is 100 and expression 127.
    assert read(one_track("00 90 3C 7F 60 80 3C 00")).notes[0].loudness == pytest.approx(100 / 127)


def test_a_pan_reaches_the_note_that_starts_on_its_tick() -> None:
    song = read(one_track("00 90 3C 7F 00 B0 0A 10 60 80 3C 00"))
    assert [part.pan for part in song.parts] == [16]
    other = read(header(1, 2) + track("00 90 3C 7F 60 80 3C 00") + track("00 B0 0A 11"))
    assert [part.pan for part in other.parts] == [17]


def test_a_note_that_fades_in_is_not_silent() -> None:
    song = read(one_track("00 B0 0B 00", "00 90 3C 7F", "30 B0 0B 7F", "30 80 3C 00"))
    assert song.notes[0].loudness == pytest.approx(100 / 127)
    assert read(one_track("00 B0 0B 00", QUARTER_C4)).notes[0].loudness == 0


@pytest.mark.parametrize(("silent", "heard"), [(255, True), (256, False)])
def test_only_the_first_256_moves_let_a_note_be_heard(silent: int, heard: bool) -> None:
    moves = ["01 B0 0B 00"] * silent
    song = read(one_track("00 B0 0B 00", "00 90 3C 7F", *moves, "01 B0 0B 7F", "01 80 3C 00"))
    assert (song.notes[0].loudness > 0) == heard


def test_a_note_fades_in_by_the_volume_that_rules_its_track() -> None:
    # Both tracks play on the channel; the second one's volume isn't the first one's.
    silent = track("00 B0 07 00", "00 90 3C 7F 83 00 80 3C 00")
    loud = track("60 B0 07 7F", QUARTER_E4)
    assert [note.loudness > 0 for note in read(header(1, 2) + silent + loud).notes] == [False, True]
    # A track without a volume of its own goes by that of the channel.
    mute = track("00 B0 07 00 60 B0 07 7F")
    bare = track("00 90 3C 7F 83 00 80 3C 00")
    assert read(header(1, 2) + mute + bare).notes[0].loudness == pytest.approx(1.0)


RESET = "00 B0 79 00"


def test_reset_all_controllers_puts_expression_back_but_not_volume_pan_and_program() -> None:
    # MIDI recommended practice RP-015.
    setup = "00 C0 28 00 B0 07 32 00 B0 0A 10 00 B0 0B 20"
    song = read(one_track(setup, quarter(0), RESET, quarter(0)))
    assert [note.loudness * 127 for note in song.notes] == pytest.approx(
        [64 * 50 * 32 / 127**2, 64 * 50 / 127]
    )
    assert [(part.program, part.pan) for part in song.parts] == [(40, 16)]


def test_reset_all_controllers_lets_a_silent_note_be_heard() -> None:
    song = read(one_track("00 B0 0B 00", "00 90 3C 7F", "30 B0 79 00", "30 80 3C 00"))
    assert song.notes[0].loudness == pytest.approx(100 / 127)


def test_a_reset_in_another_track_leaves_a_tracks_own_expression() -> None:
    own = track("00 B0 0B 20", "60", "90 3C 40 60 80 3C 40")
    song = read(header(1, 2) + own + track("30 B0 79 00"))
    assert song.notes[0].loudness == pytest.approx(64 * 100 * 32 / 127**3)
    # One that sets none itself is reset with the channel.
    bare = track("60", "90 3C 40 60 80 3C 40")
    song = read(header(1, 2) + track("00 B0 0B 20 30 B0 79 00") + bare)
    assert song.notes[0].loudness == pytest.approx(64 * 100 / 127**2)


def test_reset_all_controllers_puts_the_bend_back_and_selects_no_parameter() -> None:
    whole_tone = "00 E0 7F 7F"
    song = read(one_track(whole_tone, quarter(0), RESET, quarter(0)))
    assert [note.pitch for note in song.notes] == [62, 60]
    # Data entry after a reset no longer sets the bend range that was selected before.
    octave = "00 B0 06 0C"
    chosen = "00 B0 65 00 00 B0 64 00"
    song = read(one_track(chosen, octave, whole_tone, quarter(0)))
    assert song.notes[0].pitch == 72
    song = read(one_track(chosen, RESET, octave, whole_tone, quarter(0)))
    assert song.notes[0].pitch == 62


def test_ports_keep_their_channels_apart() -> None:
    song = read(
        header(1, 2)
        + track("00 FF 21 01 00 00 C0 28", quarter(0))
        + track("00 FF 21 01 01", quarter(0), quarter(9))
    )
    assert [(p.track, p.program, p.drum) for p in song.parts] == [
        (0, 40, False), (1, 0, False), (1, 0, True),
    ]  # fmt: skip


# Drums


def drums(data: bytes, **settings: object) -> list[bool]:
    return [note.drum for note in read(data, **settings).notes]


def test_channel_10_is_drums_unless_the_user_says_otherwise() -> None:
    data = one_track(quarter(9), quarter(2))
    assert drums(data) == [True, False]
    assert drums(data, drum_channels=(3,)) == [False, True]
    assert drums(data, drum_channels=()) == [False, False]


@pytest.mark.parametrize(
    ("setup", "expected"),
    [
        pytest.param("00 F0 0A 41 10 42 12 40 12 15 01 18 F7", [True, True], id="GS part 2 on"),
        pytest.param("00 F0 0A 41 10 42 12 40 10 15 00 1B F7", [False, False], id="GS part 10 off"),
        pytest.param("00 F0 0A 41 10 42 12 40 1A 15 02 0F F7", [False, True], id="GS part 11 on"),
        pytest.param("00 F0 08 43 10 4C 08 01 07 02 F7", [True, True], id="XG part mode"),
        pytest.param("00 B1 00 7F 00 C1 00", [True, True], id="XG bank 127"),
        pytest.param("00 B1 00 78 00 C1 00", [True, True], id="GM2 bank 120"),
        pytest.param("00 B1 00 7F", [False, True], id="a bank without program change"),
        pytest.param(GS_ON + " 00 B1 00 7F 00 C1 00", [False, True], id="bank 127 means no drums in GS"),
        pytest.param("00 B1 00 7F 00 C1 00 00 B1 00 00 00 C1 00", [False, True], id="and back"),
        pytest.param("00 F0 0A 41 10 42 12 40 12 15 01 18 F7 00 B1 00 00 00 C1 08", [True, True],
                     id="a kit of a GS drum part"),
        pytest.param(XG_ON + " 00 B1 00 7E 00 C1 00", [True, True], id="XG effect kit"),
        pytest.param(GM_ON + " 00 B9 00 79 00 C9 00", [False, False], id="GM2 melody bank"),
    ],
)  # fmt: skip
def test_messages_that_turn_channels_into_drums_or_back(setup: str, expected: list[bool]) -> None:
    # Channel 2, then channel 10; GS blocks A to F are channels 11 to 16.
    assert drums(one_track(setup, quarter(1), quarter(9))) == expected


GS_PART_2_ON = "00 F0 0A 41 10 42 12 40 12 15 01 18 F7"
XG_PART_2_ON = "00 F0 08 43 10 4C 08 01 07 02 F7"
GM2_BANK_ON = "00 B1 00 78 00 C1 00"


@pytest.mark.parametrize("drums_on", [GS_PART_2_ON, XG_PART_2_ON, GM2_BANK_ON])
@pytest.mark.parametrize("reset", [GM_ON, GS_ON, XG_ON])
def test_turning_a_standard_on_undoes_earlier_rhythm_messages(drums_on: str, reset: str) -> None:
    both = [quarter(1), quarter(9)]
    assert drums(one_track(drums_on, *both, reset, *both)) == [True, True, False, True]
    if (reset, drums_on) != (GS_ON, GM2_BANK_ON):
        assert drums(one_track(reset, drums_on, *both)) == [True, True]


def test_a_standard_gives_channel_10_its_drums_back() -> None:
    off = "00 F0 0A 41 10 42 12 40 10 15 00 1B F7"
    assert drums(one_track(off, quarter(9), GM_ON, quarter(9))) == [False, True]


def test_drums_by_name_only_without_a_program_and_within_the_drum_keys() -> None:
    named = track("00", meta(3, b"Drum Kit"), quarter(0, 38), quarter(0, 36))
    song = read(header() + named)
    assert [note.drum for note in song.notes] == [True, True]
    assert "taken for drums by its name: 'Drum Kit'" in song.remarks[0]
    assert drums(header() + named, drum_channels=(10,)) == [False, False]
    assert drums(header() + track("00", meta(3, b"Drums"), "00 C0 2F", quarter(0, 38))) == [False]
    assert drums(header() + track("00", meta(3, b"Drums"), quarter(0, 96))) == [False]


# Tuning and bends


def test_coarse_tuning_moves_pitches_but_not_drums() -> None:
    down_an_octave = "00 B{0} 65 00 00 B{0} 64 02 00 B{0} 06 34 00 B{0} 65 7F 00 B{0} 64 7F"
    song = read(one_track(down_an_octave.replace("{0}", "0"), quarter(0),
                          down_an_octave.replace("{0}", "9"), quarter(9, 38)))  # fmt: skip
    assert [(note.pitch, note.shift) for note in song.notes] == [(48, -12), (38, 0)]


def test_another_parameter_is_not_tuning() -> None:
    song = read(one_track("00 B0 65 00 00 B0 64 02 00 B0 63 01 00 B0 06 34", quarter(0)))
    assert song.notes[0].pitch == 60


def test_a_bend_that_stays_on_a_semitone_moves_the_note() -> None:
    # Full bend up is 2 semitones until the range is set: 0x3FFF is +8191.
    song = read(one_track("00 E0 7F 7F", quarter(0), "00 E0 00 40", quarter(0)))
    assert [(note.pitch, note.shift) for note in song.notes] == [(62, 2), (60, 0)]
    assert song.remarks == ("pitch bend moved 1 note by whole semitones",)


def test_the_bend_range_is_heeded() -> None:
    octave = "00 B0 65 00 00 B0 64 00 00 B0 06 0C"
    assert read(one_track(octave, "00 E0 00 00", quarter(0))).notes[0].pitch == 48


@pytest.mark.parametrize("semitones", ["00 B0 06 02", "00 B0 06 00 00 B0 06 02", ""])
def test_the_bend_range_has_cents_too(semitones: str) -> None:
    """Two semitones (as General MIDI has them before) and 50 cents, of which four fifths are two."""
    cents = f"00 B0 65 00 00 B0 64 00 {semitones} 00 B0 26 32"
    song = read(one_track(cents, "00 E0 1A 73", quarter(0), "00 E0 66 0C", quarter(0)))
    assert [note.pitch for note in song.notes] == [62, 58]


def test_a_short_bend_and_a_bend_between_semitones_are_ignored() -> None:
    slide = "00 E0 00 40 00 90 3C 40 48 E0 7F 7F 18 80 3C 40"  # up for the last quarter
    between = "00 E0 00 30 00 90 3C 40 60 80 3C 40"  # half a semitone down
    song = read(one_track(slide, between))
    assert [note.pitch for note in song.notes] == [60, 60]
    assert song.remarks == ("vibrato and slides by pitch bend are ignored, on 2 notes",)


# Time


def test_tempo_and_metre_from_any_track_in_any_order() -> None:
    song = read(
        header(1, 2)
        + track(QUARTER_C4, "00 FF 51 03 0F 42 40", "60 FF 58 04 03 02 18 08")
        + track("00 FF 51 03 06 1A 80", "81 40 FF 51 03 03 D0 90")
    )
    assert song.tempos == (TempoChange(0, 400_000), TempoChange(96, 1_000_000),
                           TempoChange(192, 250_000))  # fmt: skip
    assert song.metres == (MetreChange(0, 4, 4), MetreChange(192, 3, 4))
    # 96 ticks at 0.4 s a beat, 96 at 1 s, 96 at 0.25 s.
    assert seconds_at(song, [96, 192, 288]).tolist() == pytest.approx([0.4, 1.4, 1.65])


def test_a_metre_change_inside_a_bar_cuts_the_bar_short_and_says_so() -> None:
    song = read(one_track("83 00 FF 58 04 03 02 18 08", "00 90 3C 40 60 80 3C 40"))
    assert [remark for remark in song.remarks if "inside a bar" in remark] == []
    song = read(one_track("81 40 FF 58 04 03 02 18 08", "00 90 3C 40 60 80 3C 40"))
    assert [(bar.start, bar.end) for bar in song_bars(song)] == [(0, 192), (192, 480)]
    assert "the metre changes inside a bar, to 3/4 at tick 192" in song.remarks[0]


def test_keys_are_counted_in_sharps() -> None:
    song = read(one_track("00 FF 59 02 FD 01", "60 FF 59 02 04 00", QUARTER_C4))
    assert song.keys == (KeyChange(0, -3, True), KeyChange(96, 4, False))


@pytest.mark.parametrize(
    ("division", "ticks_per_second"),
    [(0xE728, 1000), (0xE804, 96), (0xE250, 2400), (0xE350, 2400 / 1.001)],
    ids=["25 x 40", "24 x 4", "30 x 80", "30 drop-frame x 80"],
)
def test_smpte_division_counts_seconds(division: int, ticks_per_second: float) -> None:
    # A tempo meta doesn't change clock time.
    song = read(one_track("00 FF 51 03 03 D0 90", "83 74 90 3C 40 60 80 3C 40", division=division))
    assert not song.own_beat
    assert song.notes[0].onset == 500
    assert seconds_at(song, 500) == pytest.approx(500 / ticks_per_second)


def test_the_finest_resolution_is_valid() -> None:
    song = read(one_track("81 FF 7F 90 3C 40 60 80 3C 40", division=32767))
    assert (song.ticks_per_beat, song.notes[0].onset) == (32767, 32767)
    assert song.repairs == ()


# Format 2

PATTERNS = (
    header(2, 2)
    + track("00 FF 51 03 06 1A 80 00 B0 07 32", QUARTER_C4)
    + track("00 FF 58 04 03 02 18 08", QUARTER_E4, "60 B0 01 00")
)


def test_patterns_follow_each_other_and_share_nothing() -> None:
    song = read(PATTERNS)
    assert notes(song) == [(0, 96, 60), (96, 96, 64)]
    assert song.tempos == (TempoChange(0, 400_000), TempoChange(96, 500_000))
    assert song.metres == (MetreChange(0, 4, 4), MetreChange(96, 3, 4))
    # The volume of the first pattern doesn't reach the second.
    assert song.notes[1].loudness == pytest.approx(64 / 127 * 100 / 127)


def test_one_pattern_can_be_chosen() -> None:
    assert notes(read(PATTERNS, pattern=2)) == [(0, 96, 64)]
    with pytest.raises(SongError, match=r"there is no pattern 3; choose one from 1 to 2"):
        read(PATTERNS, pattern=3)
    with pytest.raises(SongError, match="only format 2 files have patterns"):
        read(one_track(QUARTER_C4), pattern=1)


# Texts


def test_titles_marks_and_loop_controls() -> None:
    song = read(
        header(1, 2)
        + track("00", meta(3, b" Harbour \n Song"), "60", meta(6, b"Verse"), "00 B0 6F 00")
        + track("00", meta(5, b"La"), QUARTER_C4)
    )
    assert song.title == "Harbour Song"
    assert [(m.tick, m.kind, m.text) for m in song.marks][1:] == [
        (0, "lyrics", "La"), (96, "marker", "Verse"),
    ]  # fmt: skip
    assert [(c.tick, c.number) for c in song.controls] == [(96, 111)]


def test_without_a_name_the_title_is_the_karaoke_title_or_the_file() -> None:
    assert read(one_track(QUARTER_C4)).title == "test"
    karaoke = one_track("00", meta(1, b"@KMIDI KARAOKE FILE"), "00", meta(1, b"@TLamp Song"),
                        QUARTER_C4)  # fmt: skip
    assert read(karaoke).title == "Lamp Song"


def test_the_name_of_a_first_track_that_plays_along_is_no_title() -> None:
    first = track("00", meta(3, b"Right hand"), QUARTER_C4)
    assert read(header(1, 1) + first).title == "Right hand"
    assert read(header(1, 2) + first + track(QUARTER_E4)).title == "test"


def test_a_track_without_name_is_called_after_its_instrument() -> None:
    song = read(header() + track("00", meta(4, b"tin whistle"), QUARTER_C4))
    assert [part.name for part in song.parts] == ["tin whistle"]


# Limits


def test_limits_name_the_option_that_raises_them() -> None:
    two = one_track(QUARTER_C4, QUARTER_E4)
    assert len(read(two, max_notes=2).notes) == 2
    with pytest.raises(LimitError, match="--max-notes"):
        read(two, max_notes=1)
    with pytest.raises(LimitError, match="--max-tracks"):
        read(header(1, 2) + track(QUARTER_C4) + track(QUARTER_C4), max_tracks=1)
    with pytest.raises(LimitError, match="--max-tracks"):
        read(header(1, 1) + track(QUARTER_C4) * 2, max_tracks=1)
    with pytest.raises(LimitError, match=r"the song lasts 2 beats.*--max-beats"):
        read(two, max_beats=1)


def test_events_beside_the_notes_are_limited_in_all_tracks_together() -> None:
    moves = "00 B0 07 40" * 6000
    data = header(1, 2) + track(moves, QUARTER_C4) + track(moves, QUARTER_C4)
    assert len(read(data, max_notes=12_000).notes) == 2
    with pytest.raises(LimitError, match=r"more events.*--max-notes"):
        read(data, max_notes=11_999)


def test_a_header_that_counts_32767_tracks_costs_nothing() -> None:
    song = read(chunk("MThd", bytes.fromhex("0001 7FFF 0060")) + track(QUARTER_C4))
    assert notes(song) == [(0, 96, 60)]


def test_a_file_of_many_different_messages_forgets_and_goes_on(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    data = one_track(*(quarter(channel, pitch) for channel in range(9) for pitch in range(20)))
    whole = read(data)
    monkeypatch.setattr(messages, "_MOST_KNOWN", 7)
    assert read(data) == whole
    assert [note.onset for note in whole.notes] == [96 * n for n in range(180)]


def test_long_damaged_tracks_are_copied_in_stretches(monkeypatch: pytest.MonkeyPatch) -> None:
    data = one_track("00 F8", "00 90 3C 40", "60 3C 00 00 3C 40" * 200, "60 3C 00")
    whole = read(data)
    monkeypatch.setattr(walk, "_STRETCH", 70)
    assert read(data) == whole
    assert [note.onset for note in whole.notes] == [96 * n for n in range(201)]
