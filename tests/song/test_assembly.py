"""What the gathered tracks of a file become: units, titles, names, time and limits, one rule each."""

from __future__ import annotations

import pytest

from arranger.errors import LimitError, SongError, UsageError
from arranger.song import KeyChange, MetreChange, TempoChange
from arranger.song.general_midi import percussion_key
from arranger.song.midi.assemble import Unit, unit_of
from tests.song.midi_bytes import QUARTER_C4, header, meta, notes, one_track, read, track

NAMED = "00 " + meta(3, b"Air")


@pytest.mark.parametrize(
    ("division", "unit"),
    [
        (1, Unit(1, True, 500_000)),
        (0x7FFF, Unit(32767, True, 500_000)),
        # 24, 25 and 30 frames of so many ticks; 29 means 30/1.001 frames a second (SMPTE drop-frame)
        (0xE801, Unit(24, False, 1_000_000)),
        (0xE7FF, Unit(25 * 255, False, 1_000_000)),
        (0xE250, Unit(2400, False, 1_000_000)),
        (0xE350, Unit(2400, False, 1_001_000)),
    ],
)
def test_the_unit_of_a_tick(division: int, unit: Unit) -> None:
    assert unit_of(division) == unit


@pytest.mark.parametrize(
    ("names", "title"),
    [
        ([b"Air"], "Air"),
        ([b"", b"Air"], "test"),
        ([b"Tempo", b"Air"], "test"),
        ([b"tempo track"], "test"),
        ([b"Tempo map"], "test"),
        ([b"Conductor Track"], "test"),
        ([b"control track"], "test"),
        ([b"Track 12"], "test"),
        ([b"track7"], "test"),
        ([b"untitled"], "test"),
        ([b"Untitled air"], "Untitled air"),
        ([b"  ", b"x"], "test"),
    ],
)
def test_the_first_track_names_the_song_unless_it_says_nothing(
    names: list[bytes], title: str
) -> None:
    tracks = [track("00 " + meta(3, name)) for name in names]
    song = read(header(1, len(names) + 1) + b"".join(tracks) + track(QUARTER_C4))
    assert song.title == title


def test_a_name_that_comes_after_an_empty_one_counts() -> None:
    song = read(one_track("00 " + meta(3, b" "), NAMED, QUARTER_C4))
    assert (song.title, song.tracks[0].name) == ("Air", "Air")


def test_karaoke_titles_are_texts_that_begin_with_at_t() -> None:
    def title(kind: int, text: bytes) -> str:
        return read(header(1, 2) + track("00 " + meta(kind, text)) + track(QUARTER_C4)).title

    assert title(1, b"@TAir  in G") == "Air in G"
    assert title(1, b"@T ") == "test"
    assert title(1, b"@KAir") == "test"
    assert title(6, b"@TAir") == "test"


@pytest.mark.parametrize(("pitch", "drum"), [(26, False), (27, True), (87, True), (88, False)])
def test_a_part_that_is_called_drums_keeps_to_the_drum_keys(pitch: int, drum: bool) -> None:
    named = "00 " + meta(3, b"my Drums")
    song = read(header() + track(named, f"00 90 {pitch:02X} 40 60 80 {pitch:02X} 40"))
    assert [note.drum for note in song.notes] == [drum]
    assert any("taken for drums" in remark for remark in song.remarks) == drum
    conundrum = "00 " + meta(3, b"conundrums")
    assert not read(header() + track(conundrum, QUARTER_C4)).notes[0].drum


def test_parts_are_named_after_track_or_sound() -> None:
    quarter = "00 9{0} 3C 40 60 8{0} 3C 40"
    two = ["00 C0 28", quarter.format(0), "00 C1 20", quarter.format(1)]
    assert [p.name for p in read(one_track(NAMED, *two)).parts] == ["Violin", "Acoustic Bass"]
    # A file of one track has its song's name there.
    as_parts = read(header(1, 1) + track(NAMED, *two))
    assert [p.name for p in as_parts.parts] == ["Air (Violin)", "Air (Acoustic Bass)"]


def test_a_bank_tells_equal_sounds_apart() -> None:
    bank = "00 B0 00 08 00 B0 20 05 00 C0 28"
    song = read(header() + track("00 C0 28", QUARTER_C4, bank, QUARTER_C4))
    assert [p.name for p in song.parts] == ["Violin, bank 0/0", "Violin, bank 8/5"]


def test_time_changes_that_change_nothing_are_left_out_and_the_last_on_a_tick_counts() -> None:
    tempo, three = "FF 51 03 06 1A 80", "FF 58 04 03 02 18 08"
    assert not read(one_track(f"00 {tempo}", QUARTER_C4)).metre_said
    assert read(one_track(f"60 {three}", QUARTER_C4)).metre_said
    song = read(
        header(1, 2)
        + track("00 FF 51 03 0F 42 40", f"00 {tempo}", f"60 {tempo}", "00 FF 59 02 01 00")
        + track(f"60 {three}", f"60 {three}", "00 FF 59 02 02 01", QUARTER_C4)
    )
    assert song.tempos == (TempoChange(0, 400_000),)
    assert song.metres == (MetreChange(0, 4, 4), MetreChange(96, 3, 4))
    assert song.keys == (KeyChange(96, 1, False), KeyChange(192, 2, True))
    assert (
        "the metre changes inside a bar, to 3/4 at tick 96: that bar is cut short" in song.remarks
    )
    more = read(one_track(f"60 {three}", "60 FF 58 04 02 02 18 08", f"60 {three}", QUARTER_C4))
    assert any("at tick 96, and 2 more times:" in remark for remark in more.remarks)


def test_patterns_keep_their_own_metre_though_it_is_that_before() -> None:
    song = read(header(2, 2) + track(QUARTER_C4) + track(QUARTER_C4))
    assert song.metres == (MetreChange(0, 4, 4), MetreChange(96, 4, 4))
    assert song.tempos == (TempoChange(0, 500_000),)
    for pattern in (1, 2):
        assert notes(read(header(2, 2) + track(QUARTER_C4) * 2, pattern=pattern)) == [(0, 96, 60)]
    with pytest.raises(SongError, match="choose one from 1 to 2"):
        read(header(2, 2) + track(QUARTER_C4) * 2, pattern=0)


def test_limits_are_exact() -> None:
    song = one_track(QUARTER_C4, QUARTER_C4)
    assert len(read(song, max_beats=2, max_notes=2).notes) == 2
    with pytest.raises(LimitError, match="lasts 2 beats, over the limit of 1"):
        read(song, max_beats=1)
    tracks = header(1, 2) + track(QUARTER_C4) * 2
    assert len(read(tracks, max_tracks=2, max_notes=2).tracks) == 2
    for limit in ({"max_tracks": 1}, {"max_notes": 1}):
        with pytest.raises(LimitError):
            read(tracks, **limit)


def test_a_pause_is_left_out_where_it_is_longer_than_any_music() -> None:
    """10,000 beats of one tick are ten thousand ticks."""
    longest = "CE 10"  # 10,000
    for pause, onset, told in ((longest, 10_000, 0), ("CE 11", 0, 1)):
        song = read(one_track(f"{pause} 90 3C 40", "01 80 3C 40", division=1), max_beats=40_000)
        assert notes(song) == [(onset, 1, 60)]
        assert len(song.repairs) == told
    assert song.repairs[0].place == "track 1, tick 0"
    assert song.repairs[0].what == "a pause of 10,001 ticks: left out"
    many = read(one_track("00 90 3C 40", *["CE 11 B0 01 00"] * 25, "01 80 3C 40", division=1))
    assert len(many.repairs) == 20
    assert notes(many) == [(0, 1, 60)]
    # A longer piece may hold longer pauses: a fifth of it.
    assert notes(
        read(one_track("CE 11 90 3C 40", "01 80 3C 40", division=1), max_beats=50_005)
    ) == [(10_001, 1, 60)]


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("0", 0),
        ("127", 127),
        ("007", 7),
        ("128", None),
        ("0127", None),
        ("-1", None),
        ("\u0663", None),
        ("Cowbell", 56),
    ],
)
def test_a_percussion_key_is_a_number_of_midi_or_a_name(text: str, key: int | None) -> None:
    if key is not None:
        assert percussion_key(text) == key
    else:
        with pytest.raises(UsageError, match="no drum of General MIDI"):
            percussion_key(text)
