"""Which end belongs to which start, and what pedals and silencing do to it. Ticks: 96 a beat."""

from __future__ import annotations

from arranger.conversion import convert
from arranger.engine import load_engine
from arranger.settings import Settings
from arranger.song import Repair
from tests.song.midi_bytes import QUARTER_C4, header, notes, one_track, read, track

C4_ON, C4_OFF = "90 3C 40", "80 3C 40"


def test_velocity_zero_is_an_end() -> None:
    assert notes(read(one_track("00 90 3C 40", "60 90 3C 00"))) == [(0, 96, 60)]


def test_overlapping_equal_pitches_are_first_in_first_out() -> None:
    song = read(one_track("00", C4_ON, "30", C4_ON, "30", C4_OFF, "60", C4_OFF))
    assert notes(song) == [(0, 96, 60), (48, 144, 60)]
    assert song.repairs == ()


def test_equal_pitches_on_two_channels_or_tracks_do_not_touch() -> None:
    two_channels = one_track("00 90 3C 40 00 91 3C 40 30 81 3C 40 30 80 3C 40")
    assert [(n.channel, n.duration) for n in read(two_channels).notes] == [(0, 96), (1, 48)]
    two_tracks = header(1, 2) + track("00 90 3C 40 60 80 3C 40") + track("00 90 3C 40 30 80 3C 40")
    assert [(n.track, n.duration) for n in read(two_tracks).notes] == [(0, 96), (1, 48)]


def test_an_end_at_the_tick_of_the_next_start_belongs_to_the_first() -> None:
    song = read(one_track("00", C4_ON, "60", C4_ON, "00", C4_OFF, "60", C4_OFF))
    assert notes(song) == [(0, 96, 60), (96, 96, 60)]


def test_a_stray_end_is_passed_over() -> None:
    song = read(one_track("00", C4_OFF, QUARTER_C4, "00", C4_OFF))
    assert notes(song) == [(0, 96, 60)]
    assert song.repairs == ()


def test_a_note_of_no_length_is_kept() -> None:
    assert notes(read(one_track("00", C4_ON, "00", C4_OFF))) == [(0, 0, 60)]


def test_a_note_without_end_ends_with_the_track() -> None:
    song = read(one_track("00", C4_ON, "60 90 40 40 60 80 40 40"))
    assert notes(song) == [(0, 192, 60), (96, 96, 64)]
    assert song.repairs[0].place == "track 1, tick 192"
    assert song.repairs[0].what.startswith("1 note had no end")


def test_a_note_without_end_ends_at_the_next_of_its_pitch() -> None:
    song = read(one_track("00", C4_ON, "60", C4_ON, "60", C4_OFF, "00", C4_ON, "30", C4_OFF))
    assert notes(song) == [(0, 96, 60), (96, 96, 60), (192, 48, 60)]
    assert "1 note had no end" in song.repairs[0].what


def test_a_lost_end_does_not_shift_earlier_overlaps() -> None:
    overlap = ("00", C4_ON, "30", C4_ON, "30", C4_OFF, "30", C4_OFF)
    song = read(one_track(*overlap, "00", C4_ON, "60 B0 01 00"))
    assert notes(song) == [(0, 96, 60), (48, 96, 60), (144, 96, 60)]


def test_all_notes_off_ends_what_sounds_and_later_ends_are_stray() -> None:
    song = read(one_track("00", C4_ON, "30 B0 7B 00", "30", C4_ON, "30", C4_OFF, "30", C4_OFF))
    assert notes(song) == [(0, 48, 60), (96, 48, 60)]
    assert song.repairs == ()


def test_all_notes_off_reaches_other_tracks_on_its_channel() -> None:
    song = read(
        header(1, 2)
        + track("30 B0 7B 00")
        + track("00 90 3C 40 00 91 40 40 60 80 3C 40 00 81 40 40")
    )
    assert notes(song) == [(0, 48, 60), (0, 96, 64)]


def test_what_happens_on_one_tick_happens_in_the_order_of_the_file() -> None:
    on, press, lift = "00 90 3C 40", "B0 40 7F", "B0 40 00"
    # Key up, then pedal down: the note isn't held. The other way round it is.
    assert notes(read(one_track(on, "60", C4_OFF, "00", press, "60", lift))) == [(0, 96, 60)]
    assert notes(read(one_track(on, "60", press, "00", C4_OFF, "60", lift))) == [(0, 192, 60)]
    # Likewise for the sostenuto pedal, which also must find the key down.
    press, lift = "B0 42 7F", "B0 42 00"
    assert notes(read(one_track(on, "60", C4_OFF, "00", press, "60", lift))) == [(0, 96, 60)]
    assert notes(read(one_track(on, "60", press, "00", C4_OFF, "60", lift))) == [(0, 192, 60)]
    assert notes(read(one_track("00", press, on, "60", C4_OFF, "60", lift))) == [(0, 96, 60)]


def test_the_sostenuto_pedal_that_is_pressed_again_holds_what_is_still_down() -> None:
    on, press, lift = "00 90 3C 40", "B0 42 7F", "B0 42 00"
    twice = one_track(on, "20", press, "20", lift, "10", press, "10", C4_OFF, "60", lift)
    assert notes(read(twice)) == [(0, 192, 60)]
    # Pressed by the time the key comes down, and again after it came up: neither catches it.
    around = one_track("00", press, on, "20", lift, "40", C4_OFF, "00", press, "60", lift)
    assert notes(read(around)) == [(0, 96, 60)]


def test_a_pedal_pressed_as_the_track_ends_holds_no_note_without_end() -> None:
    for pedal in ("B0 40 7F", "B0 42 7F"):
        other = track("83 00 91 3C 40 00 81 3C 40")
        assert notes(read(header(1, 2) + track("00", C4_ON, "60", pedal) + other))[0] == (0, 96, 60)


def test_a_pedal_changed_on_the_tick_of_an_end_holds_what_ends_after_it() -> None:
    on, change = "00 B0 40 7F 00 90 3C 40", "B0 40 00 00 B0 40 7F"
    held = one_track(on, "60", change, "00", C4_OFF, "60 B0 40 00")
    assert notes(read(held)) == [(0, 192, 60)]
    free = one_track(on, "60", C4_OFF, "00", change, "60 B0 40 00")
    assert notes(read(free)) == [(0, 96, 60)]


def test_sustain_lengthens_to_its_release() -> None:
    pedal_down, pedal_up = "B0 40 7F", "B0 40 00"
    data = one_track("00", pedal_down, "00", C4_ON, "30", C4_OFF, "60", pedal_up)
    assert notes(read(data)) == [(0, 144, 60)]
    assert notes(read(data, sustain=False)) == [(0, 48, 60)]


def test_sustain_stops_at_the_next_stroke_of_the_pitch() -> None:
    song = read(
        one_track(
            "00 B0 40 7F", "00", C4_ON, "30", C4_OFF, "30", C4_ON, "30", C4_OFF, "30 B0 40 00"
        )
    )
    assert notes(song) == [(0, 96, 60), (96, 96, 60)]


def test_sustain_below_half_is_up_and_reaches_other_tracks() -> None:
    assert notes(read(one_track("00 B0 40 3F", QUARTER_C4, "60 B0 40 00"))) == [(0, 96, 60)]
    song = read(header(1, 2) + track("00 B0 40 40 81 40 B0 40 00") + track(QUARTER_C4))
    assert notes(song) == [(0, 192, 60)]


def test_a_pedal_that_never_comes_up_ends_with_the_song() -> None:
    assert notes(read(one_track("00 B0 40 7F", QUARTER_C4, "60 B0 01 00"))) == [(0, 192, 60)]


def test_reset_all_controllers_lifts_the_pedal() -> None:
    song = read(one_track("00 B0 40 7F", QUARTER_C4, "30 B0 79 00", "60 B0 01 00"))
    assert notes(song) == [(0, 144, 60)]


def test_sostenuto_holds_only_keys_that_are_down() -> None:
    # C4 is down when the pedal is pressed at 48; E4 comes after it.
    song = read(
        one_track(
            "00", C4_ON, "30 B0 42 7F", "00 90 40 40", "30", C4_OFF, "00 80 40 40", "60 B0 42 00"
        )
    )
    assert notes(song) == [(0, 192, 60), (48, 48, 64)]


def test_all_sound_off_silences_what_the_pedal_holds() -> None:
    song = read(one_track("00 B0 40 7F", "00", C4_ON, "30", C4_OFF, "30 B0 78 00", "60 B0 40 00"))
    assert notes(song) == [(0, 96, 60)]


def test_a_missing_end_is_a_repair_with_its_place() -> None:
    song = read(one_track("00", C4_ON, "00 90 40 40"))
    assert song.repairs == (
        Repair(
            "track 1, tick 0",
            "2 notes had no end: ended at the next note of that pitch or the end of the track",
        ),
    )


def test_a_song_of_one_note_without_length_goes_the_whole_way() -> None:
    song = read(one_track("00", C4_ON, "00", C4_OFF))
    assert song.end_tick == 0
    assert convert(song, load_engine("twin-phase"), Settings()).sheet.voice1[0] == 60
