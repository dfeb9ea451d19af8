"""``--drum``: another sound for a percussion key, or none, in all that looks at the song."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

import mido
import pytest

from arranger.cli.app import run
from arranger.conversion import convert
from arranger.conversion.by_hand import revise
from arranger.engine import load_engine
from arranger.errors import UsageError
from arranger.options import build_settings
from arranger.reduce.choose.drum_sounds import sounds_by_key, switched_off
from arranger.reduce.ledger import Span
from arranger.report.account_columns import account_of, sentences_of
from arranger.report.pages.facts import gather_facts
from arranger.report.summaries.survey import survey, survey_lines
from arranger.settings import ReduceSettings
from arranger.sheet import read_sheet
from arranger.sheet.compare import Side, SongNote, compare
from arranger.sheet.merging.merge import merge
from tests.reduce.little_songs import Line, song_of

if TYPE_CHECKING:
    from pathlib import Path

    from arranger.conversion import Conversion
    from arranger.song.model import Song

ENGINE = load_engine("twin-phase")
COWBELL, TAMBOURINE, KICK = 56, 54, 36
"""General MIDI Level 1 percussion map."""


def beats() -> Song:
    """Return a song of drums alone, so that none gives way: kick, cowbell, tambourine, a beat each."""
    keys = (KICK, COWBELL, TAMBOURINE)
    return song_of(Line([(beat, 0.25, key) for beat, key in enumerate(keys)], "kit", drum=True))


def converted(*drums: str) -> Conversion:
    words: dict[str, object] = {"step": "1", "drum": list(drums)}
    return convert(beats(), ENGINE, build_settings(words))


def test_the_settings_go_before_the_engine() -> None:
    settings = ReduceSettings(drum_sounds=((TAMBOURINE, None), (COWBELL, "rim")))
    sounds = sounds_by_key(ENGINE, (KICK, COWBELL, TAMBOURINE, 26), settings)
    names = {key: sound and sound.name for key, sound in sounds.items()}
    assert names == {KICK: "kick", COWBELL: "rim", TAMBOURINE: None, 26: None}
    assert switched_off(settings) == {TAMBOURINE}


def test_a_song_gets_the_sounds_that_were_asked_for() -> None:
    plain, asked = converted(), converted("cowbell=rim", "36=crash")
    assert plain.sheet.drums[:3] == ("kick", "block", "hat-open")
    assert asked.sheet.drums[:3] == ("crash", "rim", "hat-open")
    assert asked.sheet.settings == "--step 1 --drum 36=crash --drum 56=rim"


def test_what_is_switched_off_is_left_out_and_told() -> None:
    found = converted("tambourine=off")
    assert found.sheet.drums[2] is None
    entry = found.reduction.ledger.entries[2]
    assert (entry.outcome, entry.reasons) == ("dropped", ("track-muted",))
    told = sentences_of(found)
    assert told[2] == (
        "bar 1 beat 3, Tambourine of 'kit': dropped, drums like it are left out, as was asked"
    )
    assert account_of(found).outcome.tolist()[:2] == [0, 0]
    light = convert(beats(), ENGINE, build_settings({"drums": "light", "step": "1"}))
    said = sentences_of(light)
    assert said[2] == told[2], "it isn't left out for a tone's sake"
    muted = convert(beats(), ENGINE, build_settings({"mute": "kit", "step": "1"}))
    told = sentences_of(muted)
    assert told[2].endswith("dropped, its track is muted")


@pytest.mark.parametrize("drums", ["none", "full"])
def test_a_sound_that_the_engine_lacks_is_refused(drums: str) -> None:
    """Whether a note asks for it or not."""
    settings = build_settings({"drum": "60=blok", "drums": drums})
    with pytest.raises(
        UsageError, match="twin-phase has no drum sound 'blok'; did you mean 'block"
    ):
        convert(beats(), ENGINE, settings)
    with pytest.raises(UsageError, match=r"choose from kick, .*, ride-hat, off"):
        convert(beats(), ENGINE, build_settings({"drum": "60=xyz"}))


def test_the_short_silence_stands_for_no_drum() -> None:
    assert ENGINE.gap is not None
    with pytest.raises(UsageError, match=r"choose from kick, .*, off"):
        converted(f"cowbell={ENGINE.gap.name}")


def test_survey_and_page_tell_the_sounds() -> None:
    found = converted("cowbell=rim", "tambourine=off")
    assert [(each.name, each.sound, each.heard) for each in gather_facts(found).drums] == [
        ("Bass Drum 1", "kick", 1),
        ("Tambourine", "off", 0),
        ("Cowbell", "rim", 1),
    ]
    seen = survey(beats(), ENGINE, found.settings.reduce)
    assert [(each.key, each.sound, each.off) for each in seen.drums] == [
        (KICK, "kick", False),
        (TAMBOURINE, None, True),
        (COWBELL, "rim", False),
    ]
    rows = [
        line.split() for line in survey_lines(seen) if "Tambourine" in line or "Cowbell" in line
    ]
    assert [row[-1] for row in rows] == ["off", "rim"]


def test_a_hit_that_the_hand_brings_back_is_the_note_that_asks_for_it() -> None:
    """Kick and cowbell fall together and the kick is heard; a hand writes the cowbell's sound."""
    both = song_of(Line([(0, 0.25, KICK), (0, 0.25, COWBELL)], "kit", drum=True))
    now = convert(both, ENGINE, build_settings({"step": "1", "drum": "cowbell=rim"}))
    assert now.sheet.drums[0] == "kick"
    brought_back = (Span(0, 0, 1),)
    for name, heard, why in (("rim", brought_back, "by-hand"), ("block", (), "same-step")):
        by_hand = replace(now.sheet, drums=(name, *now.sheet.drums[1:]))
        cowbell = revise(now, merge(by_hand, now.sheet)).reduction.ledger.entries[1]
        assert cowbell.spans == heard
        assert cowbell.reasons[0] == why


def test_a_comparison_hears_a_note_in_the_sound_that_each_sheet_gives_it() -> None:
    plain, asked, off = converted().sheet, converted("56=rim").sheet, converted("56=off").sheet
    note = SongNote("Cowbell", COWBELL, True, 1, Fraction(2), Fraction(1, 4))
    (bar,) = compare(Side(plain, ENGINE, 0), Side(asked, ENGINE, 0), [note]).bars
    assert (bar.brought_back, bar.lost) == ((), ())
    (bar,) = compare(Side(asked, ENGINE, 0), Side(off, ENGINE, 0), [note]).bars
    assert (bar.brought_back, bar.lost) == ((), (note,))


@pytest.fixture
def song(tmp_path: Path) -> Path:
    kit = mido.MidiTrack()
    for key in (KICK, COWBELL, TAMBOURINE):
        kit.append(mido.Message("note_on", channel=9, note=key, velocity=100))
        kit.append(mido.Message("note_off", channel=9, note=key, time=480))
    path = tmp_path / "songs" / "kit.mid"
    path.parent.mkdir()
    file = mido.MidiFile(tracks=[kit], ticks_per_beat=480)
    file.save(path)
    return path


def test_the_commands_take_it_and_repeat_it(song: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    made = ["convert", str(song), "-o", str(out), "--no-audio", "--no-suggestions"]
    assert run([*made, "--drum", "Cowbell=rim", "--drum", "54=off"]) == 0
    sheet = read_sheet(out / "kit.duet")
    assert {name for name in sheet.drums if name} == {"kick", "rim"}
    assert "--drum 54=off --drum 56=rim" in (out / "kit.report.html").read_text("utf-8")
    assert run(["explain", str(out / "kit.duet"), "1", "--song", str(song)]) == 0
    assert run(["survey", str(song), "--drum", "cowbell=rim"]) == 0
    assert run([*made, "--drum", "cowbell=rimm"]) == 2
    assert run([*made, "--drum", "cowbel=rim"]) == 2
    assert run(["survey", str(song), "--drum", "cowbell=rimm"]) == 2


def test_a_songbook_takes_it(song: Path, tmp_path: Path) -> None:
    settings = '[defaults]\ndrum = ["cowbell=rim", "54=off"]\n'
    (song.parent / "songbook.toml").write_text(settings, "utf-8")
    book = ["songbook", str(song.parent), "-o", str(tmp_path / "book"), "--workers", "1"]
    assert run(book) == 0
    sheet = read_sheet(tmp_path / "book" / "kit.duet")
    assert {name for name in sheet.drums if name} == {"kick", "rim"}
    (song.parent / "songbook.toml").write_text('[defaults]\ndrum = ["cowbell=rimm"]\n', "utf-8")
    with pytest.raises(SystemExit, match="1"):
        run(book)
    told = json.loads((tmp_path / "book" / "songbook.json").read_text("utf-8"))
    assert "twin-phase has no drum sound 'rimm'; did you mean 'rim'?" in json.dumps(told)
    (song.parent / "songbook.toml").write_text('[defaults]\ndrum = ["cowbel=rim"]\n', "utf-8")
    assert run(book) == 1
