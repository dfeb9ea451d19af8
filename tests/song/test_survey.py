"""The survey of a song, and its command."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest
from typer.testing import CliRunner

from arranger.cli.app import app
from arranger.engine import load_engine
from arranger.report.summaries.survey import aligned, survey, survey_lines, survey_values
from tests.grid.songs import song_of
from tests.song.midi_bytes import header, meta, one_track, read, track

if TYPE_CHECKING:
    from pathlib import Path

# A beat of one pitch, a beat of three, a beat of silence, a beat of two: 96 ticks each.
TEXTURE = one_track(
    "00 90 3C 40 60 80 3C 40",
    "00 90 3C 40 00 90 40 40 00 90 43 40 60 80 3C 40 00 80 40 40 00 80 43 40",
    "60 90 3C 40 00 90 48 40 60 80 3C 40 00 80 48 40",
)


def test_difficulty_is_measured_over_the_time_that_sounds() -> None:
    hard = survey(read(TEXTURE), load_engine("twin-phase")).difficulty
    assert hard.average_pitches == pytest.approx((1 + 3 + 2) / 3)
    assert hard.share_over_two == pytest.approx(1 / 3)
    assert hard.word == "moderate"


def test_doubled_pitches_count_once_and_drums_not_at_all() -> None:
    doubled = read(
        one_track("00 90 3C 40 00 91 3C 40 00 99 24 40 60 80 3C 40 00 81 3C 40 00 89 24 40")
    )
    found = survey(doubled, load_engine("twin-phase"))
    assert found.difficulty.average_pitches == 1
    assert found.difficulty.word == "easy"
    assert [(d.key, d.name, d.notes, d.sound) for d in found.drums] == [
        (36, "Bass Drum 1", 1, "kick")
    ]


def test_notes_outside_the_pitch_table_are_counted() -> None:
    engine = load_engine("twin-counter")
    low = f"00 90 {engine.lowest - 1:02X} 40 60 80 {engine.lowest - 1:02X} 40"
    song = read(one_track(low, "00 90 3C 40 60 80 3C 40"))
    assert survey(song, engine).difficulty.outside_pitch_table == 1


def test_rows_say_what_a_part_is() -> None:
    found = survey(read(TEXTURE), load_engine("twin-phase"))
    row = found.parts[0]
    assert (row.number, row.name, row.channel, row.notes) == (1, "Acoustic Grand Piano", 1, 6)
    assert (row.lowest, row.highest, row.polyphony) == (60, 72, 3)
    # 4 beats at 120 a minute.
    assert (found.seconds, found.beats, found.bars) == (2.0, 4.0, 1)
    text = "\n".join(survey_lines(found))
    assert "C4-C5" in text
    assert "for two voices: moderate" in text


def test_json_holds_repairs_and_remarks() -> None:
    damaged = header() + track("00", meta(3, "Flöte".encode("cp1252")), "00 90 3C C0 60 80 3C 40")
    values = survey_values(survey(read(damaged), load_engine("twin-phase")))
    assert (values["format"], values["version"]) == ("arranger-survey", 1)
    assert values["title"] == "Flöte"
    assert values["remarks"] == ["names and texts were read as Latin-1"]
    assert values["repairs"][0]["what"] == "data byte 0xC0 is above 0x7F: clipped"
    assert json.loads(json.dumps(values)) == values


def test_columns_are_aligned_by_width_on_the_terminal() -> None:
    # A wide character takes two cells.
    assert aligned([("1", "ピア"), ("20", "abc")], "><") == [" 1  ピア", "20  abc"]


def test_the_command_shows_names_as_data(tmp_path: Path) -> None:
    file = tmp_path / "song.mid"
    file.write_bytes(header() + track("00", meta(3, b"[red]\x1b[2Jx"), "00 90 3C 40 60 80 3C 40"))
    shown = CliRunner().invoke(app, ["survey", str(file)])
    assert shown.exit_code == 0
    assert r"[red]\u001b[2Jx" in shown.output
    as_json = CliRunner().invoke(app, ["survey", str(file), "--json", "--engine", "twin-counter"])
    assert json.loads(as_json.output)["engine"] == "twin-counter"


def test_a_song_without_notes_is_shown_as_such(tmp_path: Path) -> None:
    file = tmp_path / "quiet.mid"
    file.write_bytes(header() + track())
    shown = CliRunner().invoke(app, ["survey", str(file)])
    assert shown.exit_code == 0
    assert "no notes" in shown.output


def test_clock_time_and_tempo_changes_are_worded() -> None:
    clock = "\n".join(
        survey_lines(
            survey(
                read(one_track("00 90 3C 40 60 80 3C 40", division=0xE728)),
                load_engine("twin-phase"),
            )
        )
    )
    assert "tempo none (ticks are clock time)" in clock
    changing = one_track(
        "00 FF 51 03 07 A1 20 00 90 3C 40 60 FF 51 03 0F 42 40 00 80 3C 40 00 89 24 00 00 FF 58 04 03 02 18 08"
    )
    text = "\n".join(survey_lines(survey(read(changing), load_engine("twin-phase"))))
    assert "tempo 60 to 120 beats a minute, 1 changes" in text
    assert "metre 4/4, 3/4" in text
    damaged = header() + track(
        "00", meta(3, "Flöte".encode()), "00 90 3C C0 60 80 3C 40 00 99 24 40 60 89 24 40"
    )
    text = "\n".join(survey_lines(survey(read(damaged), load_engine("twin-phase"))))
    assert "repairs (1):" in text
    assert "  track 1, byte 0x0023: data byte 0xC0 is above 0x7F: clipped" in text
    assert "note: names and texts were read as UTF-8" in text
    assert "Bass Drum 1" in text


@pytest.mark.parametrize(
    ("beats", "told"), [(119, "1:00"), (121, "1:00"), (239, "2:00"), (20, "0:10")]
)
def test_the_length_is_told_in_minutes_and_seconds(beats: int, told: str) -> None:
    """At 120 beats a minute, rounded to the second (halves to the even one)."""
    found = survey(song_of([(0, beats, 60)]), load_engine("twin-phase"))
    assert f", {told}" in "\n".join(survey_lines(found))
