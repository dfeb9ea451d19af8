"""Notation files, written by hand, against what they say. Ticks: 10080 a quarter note."""

from __future__ import annotations

import io
import zipfile
from collections import Counter
from typing import TYPE_CHECKING

import pytest
from typer.testing import CliRunner

from arranger.cli.app import app
from arranger.errors import ArrangerError, LimitError, SongError
from arranger.song import KeyChange, MetreChange, Song, TempoChange
from arranger.song.sniff import score_of
from arranger.song.time import song_bars
from tests.song.midi_bytes import read

if TYPE_CHECKING:
    from pathlib import Path

BEAT = 10080


def musicxml(measures: str, head: str = "") -> bytes:
    return f"""<?xml version="1.0" encoding="UTF-8"?>
<score-partwise version="4.0"><work><work-title>Slipway</work-title></work>
<part-list><score-part id="P1"><part-name>Flute</part-name>{head}</score-part></part-list>
<part id="P1">{measures}</part></score-partwise>""".encode()


def bar(number: int, *content: str, divisions: int = 2, extra: str = "") -> str:
    first = f"<attributes><divisions>{divisions}</divisions><key><fifths>2</fifths></key>"
    first += "<time><beats>3</beats><beat-type>4</beat-type></time></attributes>"
    return f'<measure number="{number}">{first if number <= 1 else ""}{"".join(content)}{extra}</measure>'


def tone(step: str, octave: int, duration: int, inside: str = "", before: str = "") -> str:
    length = f"<duration>{duration}</duration>" if duration else ""
    return f"<note>{before}<pitch><step>{step}</step><octave>{octave}</octave></pitch>{length}{inside}</note>"


def in_beats(song: Song) -> list[tuple[float, float, int]]:
    return [(n.onset / BEAT, n.duration / BEAT, n.pitch) for n in song.notes]


def test_musicxml_notes_title_key_metre_and_tempo() -> None:
    tempo = '<direction><sound tempo="90"/></direction>'
    song = read(musicxml(bar(1, tempo, tone("C", 4, 2), tone("E", 4, 1), tone("G", 4, 3))))
    assert in_beats(song) == [(0, 1, 60), (1, 0.5, 64), (1.5, 1.5, 67)]
    assert (song.title, song.kind, song.midi_format) == ("Slipway", "musicxml", None)
    assert song.keys == (KeyChange(0, 2, False),)
    assert song.metres == (MetreChange(0, 3, 4),)
    assert song.tempos == (TempoChange(0, 666_667),)
    assert [(p.name, p.notes, p.drum) for p in song.parts] == [("Flute", 3, False)]


def test_compressed_musicxml() -> None:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(
            "META-INF/container.xml",
            '<container><rootfiles><rootfile full-path="a/slipway.xml"/></rootfiles></container>',
        )
        archive.writestr("a/slipway.xml", musicxml(bar(1, tone("C", 4, 6))))
    song = read(packed.getvalue())
    assert in_beats(song) == [(0, 3, 60)]
    assert song.kind == "musicxml"


def test_tied_notes_are_one_note_over_bar_lines() -> None:
    start, both, stop = (
        "".join(f'<tie type="{kind}"/>' for kind in kinds)
        for kinds in (("start",), ("stop", "start"), ("stop",))
    )
    song = read(
        musicxml(
            bar(1, tone("C", 4, 4), tone("D", 4, 2, start))
            + bar(2, tone("D", 4, 6, both))
            + bar(3, tone("D", 4, 2, stop), tone("D", 4, 4))
        )
    )
    assert in_beats(song) == [(0, 2, 60), (2, 5, 62), (7, 2, 62)]


def test_repeats_and_endings_are_written_out() -> None:
    forward = '<barline location="left"><repeat direction="forward"/></barline>'
    first = '<barline location="left"><ending number="1" type="start"/></barline>'
    back = (
        '<barline location="right"><ending number="1" type="stop"/>'
        '<repeat direction="backward"/></barline>'
    )
    second = '<barline location="left"><ending number="2" type="start"/></barline>'
    close = '<barline location="right"><ending number="2" type="stop"/></barline>'
    song = read(
        musicxml(
            bar(1, forward, tone("C", 4, 6))
            + bar(2, first, tone("D", 4, 6), extra=back)
            + bar(3, second, tone("E", 4, 6), extra=close)
        )
    )
    assert [n.pitch for n in song.notes] == [60, 62, 60, 64]
    assert [n.onset // BEAT for n in song.notes] == [0, 3, 6, 9]
    assert "repeats and endings are written out" in song.remarks


def test_a_repeat_of_a_million_times_is_played_sixteen_times() -> None:
    back = '<barline location="right"><repeat direction="backward" times="1000000"/></barline>'
    song = read(musicxml(bar(1, tone("C", 4, 6), extra=back)))
    assert len(song.notes) == 16
    assert "1000000 times" in song.repairs[0].what
    assert song.remarks == ("repeats are written out",)


def test_a_pickup_is_a_short_first_bar() -> None:
    pickup = bar(0, tone("G", 4, 2)).replace('number="0"', 'number="0" implicit="yes"')
    song = read(musicxml(pickup + bar(2, tone("C", 5, 6)) + bar(3, tone("C", 5, 6))))
    assert in_beats(song) == [(0, 1, 67), (1, 3, 72), (4, 3, 72)]
    assert [(b.start // BEAT, b.end // BEAT) for b in song_bars(song)] == [(0, 1), (1, 4), (4, 7)]


def test_grace_notes_have_no_length_and_move_nothing() -> None:
    grace = tone("B", 4, 0, before="<grace/>")
    song = read(musicxml(bar(1, tone("C", 4, 2), grace, tone("C", 5, 4))))
    assert in_beats(song) == [(0, 1, 60), (1, 0, 71), (1, 2, 72)]
    assert "1 grace notes have no length of their own" in song.remarks


def test_chord_symbols_are_not_played() -> None:
    symbol = "<harmony><root><root-step>C</root-step></root><kind>major</kind></harmony>"
    song = read(musicxml(bar(1, symbol, tone("C", 4, 6))))
    assert in_beats(song) == [(0, 3, 60)]
    assert "1 chord symbols are not played" in song.remarks


def test_a_transposing_instrument_sounds_where_it_sounds() -> None:
    # A clarinet in B flat sounds a major second below what is written.
    transpose = "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>"
    written = musicxml(bar(1, tone("C", 5, 6))).replace(
        b"</attributes>", transpose.encode() + b"</attributes>"
    )
    assert [n.pitch for n in read(written).notes] == [70]


def test_unpitched_notes_are_drums() -> None:
    head = (
        '<score-instrument id="P1-I1"><instrument-name>Kick</instrument-name></score-instrument>'
        '<midi-instrument id="P1-I1"><midi-channel>10</midi-channel>'
        "<midi-unpitched>37</midi-unpitched></midi-instrument>"
    )
    struck = "<note><unpitched/><duration>2</duration><instrument id='P1-I1'/></note>"
    song = read(musicxml(bar(1, struck * 3), head))
    # midi-unpitched counts from 1 (MusicXML 4.0): 37 is key 36, Bass Drum 1.
    assert [(n.pitch, n.drum, n.channel) for n in song.notes] == [(36, True, 9)] * 3


def test_abc_with_a_repeat_and_a_chord() -> None:
    # music21 makes measures of a tune that has at least two plain bar lines.
    song = read(b"X:1\nT:Plank Walk\nM:2/4\nL:1/8\nK:D\n|: DF [FA]2 | D4 | E4 | F4 :|\n")
    once = [
        (0, 0.5, 62),
        (0.5, 0.5, 66),
        (1, 1, 66),
        (1, 1, 69),
        (2, 2, 62),
        (4, 2, 64),
        (6, 2, 66),
    ]
    assert in_beats(song) == once + [(onset + 8, length, pitch) for onset, length, pitch in once]
    assert (song.title, song.kind) == ("Plank Walk", "abc")
    assert song.metre_said
    assert song.own_beat
    assert {(note.shift, note.rings) for note in song.notes} == {(0, 0)}, "no tuning and no pedal"


@pytest.mark.parametrize("mark", ["", 'Q:"Swaying"\n'])
def test_a_tune_without_a_number_for_its_tempo_has_that_of_midi_files(mark: str) -> None:
    """120 quarter notes a minute (Standard MIDI Files 1.0)."""
    song = read(f"X:1\nT:Plank Walk\nM:2/4\nL:1/8\n{mark}K:D\nD4 | E4 | F4 |\n".encode())
    assert song.tempos == (TempoChange(0, 60_000_000 // 120),)


def test_a_tempo_is_never_slower_than_midi_files_can_say() -> None:
    """Three bytes of microseconds a quarter note (Standard MIDI Files 1.0): 3.6 a minute."""
    song = read(b"X:1\nT:Plank Walk\nM:2/4\nL:1/8\nQ:1/4=3\nK:D\nD4 | E4 | F4 |\n")
    assert song.tempos == (TempoChange(0, 2**24 - 1),)


@pytest.mark.parametrize("denominator", [1, 2, 4, 8, 16, 32, 64])
def test_any_note_value_may_be_the_beat_of_a_metre(denominator: int) -> None:
    metre = f"<beats>3</beats><beat-type>{denominator}</beat-type>"
    text = musicxml(bar(1, tone("C", 4, 1), divisions=16))
    written = text.replace(b"<beats>3</beats><beat-type>4</beat-type>", metre.encode())
    assert read(written).metres[0] == MetreChange(0, 3, denominator)


COLLECTION = b"X:1\nT:One\nM:4/4\nL:1/4\nK:C\nCDEF|\n\nX:2\nT:Two\nM:3/4\nL:1/4\nK:C\nGAB|\n"


def test_the_tunes_of_a_collection_follow_each_other_or_one_is_chosen() -> None:
    song = read(COLLECTION)
    assert [n.pitch for n in song.notes] == [60, 62, 64, 65, 67, 69, 71]
    assert song.metres == (MetreChange(0, 4, 4), MetreChange(4 * BEAT, 3, 4))
    assert "a collection of 2 tunes" in song.remarks[0]
    second = read(COLLECTION, pattern=2)
    assert (second.title, in_beats(second)[0]) == ("Two", (0, 1, 67))
    with pytest.raises(SongError, match="choose one from 1 to 2"):
        read(COLLECTION, pattern=3)


def test_humdrum_with_two_spines() -> None:
    song = read(b"**kern\t**kern\n*M2/4\t*M2/4\n=1\t=1\n4C\t8cc\n.\t8dd\n4G\t4ee\n==\t==\n*-\t*-\n")
    assert sorted(in_beats(song)) == [
        (0, 0.5, 72),
        (0, 1, 48),
        (0.5, 0.5, 74),
        (1, 1, 55),
        (1, 1, 76),
    ]
    assert len(song.tracks) == 2
    assert song.kind == "humdrum"


def test_mei() -> None:
    song = read(
        b"""<?xml version="1.0"?><mei xmlns="http://www.music-encoding.org/ns/mei"><music><body>
        <mdiv><score><scoreDef meter.count="2" meter.unit="4"><staffGrp><staffDef n="1" lines="5"/>
        </staffGrp></scoreDef><section><measure n="1"><staff n="1"><layer n="1">
        <note pname="c" oct="4" dur="4"/><note pname="d" oct="4" dur="8"/>
        <note pname="e" oct="4" dur="8"/></layer></staff></measure></section></score></mdiv>
        </body></music></mei>"""
    )
    assert in_beats(song) == [(0, 1, 60), (1, 0.5, 62), (1.5, 0.5, 64)]
    assert song.kind == "mei"


def test_broken_scores_get_one_line() -> None:
    for broken in (
        musicxml(bar(1, tone("C", 4, 6)))[:-60],
        b"**kern\n*-\n4zzz\n",
        b"<score-partwise>",
    ):
        with pytest.raises(SongError) as caught:
            read(broken)
        assert "\n" not in str(caught.value)


def test_limits_hold_for_scores() -> None:
    with pytest.raises(LimitError, match="--max-notes"):
        read(COLLECTION, max_notes=3)
    with pytest.raises(LimitError, match="--max-beats"):
        read(COLLECTION, max_beats=3)
    with pytest.raises(LimitError, match="--max-tracks"):
        read(COLLECTION, max_tracks=1)


def test_dynamics_lyrics_marks_and_programs() -> None:
    def direction(inside: str) -> str:
        return f"<direction><direction-type>{inside}</direction-type></direction>"

    head = (
        '<score-instrument id="P1-I1"><instrument-name>Flute</instrument-name></score-instrument>'
        '<midi-instrument id="P1-I1"><midi-program>74</midi-program></midi-instrument>'
    )
    song = read(
        musicxml(
            bar(
                1,
                direction("<rehearsal>B</rehearsal>"),
                direction("<dynamics><ff/></dynamics>"),
                tone("C", 4, 2, "<lyric><text>Haul</text></lyric>"),
                direction("<dynamics><pp/></dynamics>"),
                tone("D", 4, 4),
            ),
            head,
        )
    )
    # music21's scale of dynamics: ff 0.85, pp 0.25 of 127.
    assert [n.velocity for n in song.notes] == [108, 32]
    assert [n.loudness for n in song.notes] == pytest.approx([108 / 127, 32 / 127])
    assert [(m.kind, m.text) for m in song.marks] == [("lyrics", "Haul"), ("marker", "B")]
    # midi-program counts from 1 (MusicXML 4.0).
    assert song.parts[0].program == 73


def test_repeats_without_sense_are_played_once_through() -> None:
    forward = '<barline location="left"><repeat direction="forward"/></barline>'
    song = read(
        musicxml(
            bar(1, forward, tone("C", 4, 6))
            + bar(2, forward, tone("D", 4, 6))
            + bar(3, tone("E", 4, 6))
        )
    )
    assert [n.pitch for n in song.notes] == [60, 62, 64]
    assert "the repeat signs make no sense: played once through" in song.remarks


def test_a_note_outside_the_midi_range_is_left_out() -> None:
    song = read(musicxml(bar(1, tone("C", 12, 2), tone("C", 4, 4))))
    assert in_beats(song) == [(1, 2, 60)]


def test_notes_outside_the_midi_range_are_told() -> None:
    song = read(musicxml(bar(1, tone("C", 99999, 6))))
    assert song.notes == ()
    assert song.repairs[0].what == "1 notes outside the MIDI range (0 to 127) are left out"


def test_survey_tells_of_notes_left_out_and_convert_refuses_a_song_without_any(
    tmp_path: Path,
) -> None:
    path = tmp_path / "high.musicxml"
    path.write_bytes(musicxml(bar(1, tone("C", 99999, 6))))
    surveyed = CliRunner().invoke(app, ["survey", str(path)])
    assert surveyed.exit_code == 0
    assert "1 notes outside the MIDI range" in surveyed.output
    refused = CliRunner().invoke(app, ["convert", str(path), "-o", str(tmp_path / "out")])
    assert isinstance(refused.exception, SongError)
    assert "no notes" in str(refused.exception)


HEAD = "X:1\nM:4/4\nL:1/4\nK:C\n"
ONE, TWO = [60, 62, 64, 65], [67, 67, 67, 67]


@pytest.mark.parametrize(
    ("music", "pitches"),
    [
        ("|:CDEF|:GGGG:|", ONE + TWO + TWO),
        ("|:CDEF:|:GGGG:|", ONE + ONE + TWO + TWO),
        ("|:CDEF::GGGG:|", ONE + ONE + TWO + TWO),
        ("|:CDEF:||:GGGG:|", ONE + ONE + TWO + TWO),
        ("|:CDEF:|\n|:GGGG:|", ONE + ONE + TWO + TWO),
        ("CDEF:|GGGG:|", ONE + ONE + TWO + TWO),
        ("|:CDEF|GGGG:|", ONE + TWO + ONE + TWO),
        ("|:CDEF|1 GGGG:|2 CDEF|", ONE + TWO + ONE + ONE),
    ],
)
def test_abc_repeat_marks(music: str, pitches: list[int]) -> None:
    song = read(f"{HEAD}{music}\n".encode())
    assert [note.pitch for note in song.notes] == pitches
    assert any(remark.endswith("are written out") for remark in song.remarks)


@pytest.mark.parametrize("music", ["|:CDEF|GGGG|", "|:CDEF:|", "|::CDEF|GGGG::|"])
def test_abc_repeat_marks_that_are_not_played_as_written_are_told(music: str) -> None:
    assert read(f"{HEAD}{music}\n".encode()).remarks


def test_metre_tempo_and_key_go_back_with_a_repeat() -> None:
    def attributes(inside: str) -> str:
        return f"<attributes>{inside}</attributes>"

    back = '<barline location="right"><repeat direction="backward"/></barline>'
    tempo = '<direction><sound tempo="60"/></direction>'
    change = attributes(
        "<key><fifths>-1</fifths></key><time><beats>2</beats><beat-type>4</beat-type></time>"
    )
    start = '<direction><sound tempo="90"/></direction>'
    song = read(
        musicxml(
            bar(1, start, tone("C", 4, 6)) + bar(2, change, tempo, tone("D", 4, 4), extra=back)
        )
    )
    assert in_beats(song) == [(0, 3, 60), (3, 2, 62), (5, 3, 60), (8, 2, 62)]
    ticks = [0, 3 * BEAT, 5 * BEAT, 8 * BEAT]
    assert [(m.tick, m.numerator) for m in song.metres] == list(zip(ticks, (3, 2) * 2, strict=True))
    assert [(k.tick, k.sharps) for k in song.keys] == list(zip(ticks, (2, -1) * 2, strict=True))
    rates = (666_667, 1_000_000) * 2
    assert song.tempos == tuple(map(TempoChange, ticks, rates))


def test_a_repeat_lists_no_key_or_tempo_that_holds_already() -> None:
    back = '<barline location="right"><repeat direction="backward"/></barline>'
    song = read(musicxml(bar(1, tone("C", 4, 6), extra=back)))
    assert len(song.notes) == 2
    assert song.keys == (KeyChange(0, 2, False),)
    assert len(song.tempos) == len(song.metres) == 1


def test_da_capo_al_fine() -> None:
    fine = "<direction><direction-type><words>Fine</words></direction-type></direction>"
    capo = "<direction><direction-type><words>D.C. al Fine</words></direction-type></direction>"
    song = read(musicxml(bar(1, tone("C", 4, 6), extra=fine) + bar(2, tone("D", 4, 6), extra=capo)))
    assert [n.pitch for n in song.notes] == [60, 62, 60]


def sign(inside: str) -> str:
    return f"<direction><direction-type>{inside}</direction-type></direction>"


@pytest.mark.parametrize(
    ("marks", "pitches"),
    [
        (("", "<segno/>", "<words>D.S.</words>", ""), "CDEDEF"),
        (("<segno/>", "", "<words>D.S. al Fine</words>", "<words>Fine</words>"), "CDECDEF"),
        (("<coda/>", "", "<words>D.C. al Coda</words>", "<coda/>"), "CDECF"),
        (("", "<segno/>", "<words>D.C.</words>", ""), "CDECDEF"),
        (("", "", "<words>D.S.</words>", ""), "CDEF"),
        (("", "", "<words>D.C. al Fine</words>", ""), "CDEF"),
    ],
)
def test_jumps_go_to_their_signs(marks: tuple[str, ...], pitches: str) -> None:
    bars_of_tones = [
        bar(number, sign(mark) if mark and "D." not in mark else "", tone("CDEF"[number - 1], 4, 6),
            extra=sign(mark) if "D." in mark else "")
        for number, mark in enumerate(marks, 1)
    ]  # fmt: skip
    song = read(musicxml("".join(bars_of_tones)))
    assert (
        "".join({60: "C", 62: "D", 64: "E", 65: "F"}[note.pitch] for note in song.notes) == pitches
    )


def zipped(content: bytes) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("slipway.xml", content)
    return packed.getvalue()


def test_any_damage_to_a_compressed_score_is_told_in_one_line() -> None:
    whole = zipped(musicxml(bar(1, tone("C", 4, 6))))
    outcomes: Counter[str] = Counter()
    for place in range(4, len(whole)):
        for flip in (1, 0x55, 0xFF):
            damaged = bytearray(whole)
            damaged[place] ^= flip
            try:
                score_of(bytes(damaged), 10_000)
                outcomes["read"] += 1
            except ArrangerError as error:
                outcomes[error.what] += 1
    assert outcomes["a damaged zip archive"] > 100
    assert outcomes["read"] > 0


def test_a_zip_bomb_is_not_unpacked() -> None:
    with pytest.raises(LimitError, match="--max-file-bytes"):
        read(zipped(b"<score-partwise>" + b" " * 50_000_000), max_bytes=1_000_000)


def test_a_score_that_asks_for_the_impossible_is_told() -> None:
    # Each leads music21 into an error of its own kind, or to values that no song can have.
    for hostile in (
        musicxml(bar(1, tone("C", 4, 6))).replace(b"<duration>6", b"<duration>1e999"),
        musicxml(bar(1, tone("C", 4, 6))).replace(b"<divisions>2", b"<divisions>0"),
        musicxml(bar(1, tone("C", 4, 6))).replace(b"<beats>3", b"<beats>x"),
        b"X:1\nM:1/0\nL:1/0\nK:C\nC1/0D|\n",
    ):
        with pytest.raises(SongError, match="the score can't be read") as caught:
            read(hostile)
        assert "Error" not in str(caught.value)


def test_many_parts_share_fifteen_channels_and_leave_the_drums_theirs() -> None:
    numbers = range(1, 18)
    listed = "".join(
        f'<score-part id="P{n}"><part-name>part {n}</part-name></score-part>' for n in numbers
    )
    parts = "".join(f'<part id="P{n}">{bar(1, tone("C", 4, 6))}</part>' for n in numbers)
    song = read(
        f'<?xml version="1.0"?><score-partwise version="4.0"><part-list>{listed}</part-list>{parts}'
        "</score-partwise>".encode()
    )
    channels = [part.channel for part in song.parts]
    assert channels == [*range(9), *range(10, 16), 0, 1]
