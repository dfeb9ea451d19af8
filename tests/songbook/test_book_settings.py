"""songbook.toml: defaults, songs, patterns; wrong keys by name and line."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from arranger.engine import load_engine
from arranger.engine.create import new_engine
from arranger.errors import SettingsError
from arranger.options import build_settings
from arranger.settings import Settings
from arranger.sheet.keep import Keeping
from arranger.songbook.asked.settings import read_book_settings

if TYPE_CHECKING:
    from pathlib import Path


def read(tmp_path: Path, text: str, base: Settings | None = None):  # type: ignore[no-untyped-def]
    path = tmp_path / "songbook.toml"
    path.write_text(text, encoding="utf-8")
    return read_book_settings(path, base or Settings())


def test_later_tables_win_and_the_rest_is_inherited(tmp_path: Path) -> None:
    book = read(
        tmp_path,
        """
        [defaults]
        drums = "light"
        [songs."marches/*"]
        step = "1/4"
        mute = ["tuba", 3]
        [songs."marches/parade.mid"]
        step = "1/2"
        transpose = -2
        """,
        build_settings({"engine": "twin-counter"}),
    )
    expected = build_settings(
        {
            "engine": "twin-counter",
            "drums": "light",
            "step": "1/2",
            "mute": ["tuba", "3"],
            "transpose": "-2",
        }
    )
    assert book.for_song("marches/parade.mid") == expected
    assert book.for_song("other.mid") == build_settings(
        {"engine": "twin-counter", "drums": "light"}
    )


def test_edits_are_kept_as_tables_say(tmp_path: Path) -> None:
    book = read(
        tmp_path,
        """
        [defaults]
        keep-edits = true
        [songs."marches/*"]
        keep-edits = "as-typed"
        step = "1/4"
        [songs."marches/parade.mid"]
        song-changed = true
        [songs."waltz.mid"]
        keep-edits = false
        """,
    )
    assert book.keeping_for("other.mid") == Keeping(edits=True)
    assert book.keeping_for("marches/a.mid") == Keeping(edits=True, as_typed=True)
    assert book.keeping_for("marches/parade.mid") == Keeping(True, True, True)
    assert book.keeping_for("waltz.mid") == Keeping()
    assert book.for_song("marches/a.mid") == build_settings({"step": "1/4"})
    path = tmp_path / "songbook.toml"
    path.write_text("[defaults]\ndrums = 'light'\n")
    asked = Keeping(edits=True, as_typed=True)
    assert read_book_settings(path, Settings(), asked).keeping_for("a.mid") == asked


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('[defaults]\n\nkeep-edits = "typed"\n', r"line 3: keep-edits = 'typed'.*\"as-typed\""),
        ("[defaults]\nsong-changed = 3\n", r"line 2: song-changed = 3 .*true or false"),
        ('[defaults]\nengine = "x"\ndrms = "light"\n', r"line 3: .*'drms'.*'drums'"),
        ('[songs."a.mid"]\n\nstep = "1/5"\n', r"line 3: .*'1/5' is none of the steps"),
        ('[sogns."a.mid"]\nstep = "1/4"\n', r"line 1: there is no table \[sogns\]"),
        ("[defaults\n", "no valid TOML"),
        ('songs = "a"\n', "songs is no table"),
        ('[songs]\n"a.mid" = 3\n', "'a.mid' is no table"),
        (
            '[defaults]\n\nno-sustain = "false"\n',
            r"line 3: no-sustain: 'false' is neither true nor",
        ),
        ("[defaults]\nno-sustain = 1\n", "line 2: no-sustain: 1 is neither true nor false"),
        ("[defaults]\ntune = true\n", "line 2: tune: True is neither text nor a number"),
        (
            '[songs."a.mid"]\nmute = [["a"]]\n',
            r"line 2: mute: \['a'\] is neither text nor a number",
        ),
        ('[songs."aa.mid"]\nstep = "1/4"\n[songs."a.mid"]\nstep = 1979-05-27\n', "line 4: step"),
    ],
)
def test_mistakes_are_named_with_their_line(tmp_path: Path, text: str, message: str) -> None:
    with pytest.raises(SettingsError, match=message):
        read(tmp_path, text)


def test_later_tables_switch_off_and_empty_what_earlier_ones_set(tmp_path: Path) -> None:
    book = read(
        tmp_path,
        """
        [defaults]
        no-sustain = true
        mute = ["tuba"]
        drum-channel = [3]
        cost = ["leap=1"]
        tune = "flute"
        drums = "light"
        [songs."plain.mid"]
        no-sustain = false
        mute = []
        drum-channel = []
        cost = []
        tune = false
        """,
    )
    assert not book.for_song("other.mid").read.sustain
    assert book.for_song("plain.mid") == build_settings({"drums": "light"})


def test_an_engine_is_found_beside_the_book(tmp_path: Path) -> None:
    new_engine(tmp_path / "mine.toml", like="twin-counter")
    book = read(tmp_path, '[defaults]\nengine = "mine.toml"\n[songs."a"]\nengine = "twin-phase"\n')
    assert (
        load_engine(book.for_song("b").engine).profile
        == load_engine(tmp_path / "mine.toml").profile
    )
    assert book.for_song("a").engine == "twin-phase"


def test_tables_for_no_song_are_named_with_their_line(tmp_path: Path) -> None:
    book = read(
        tmp_path,
        '[songs]\n"x.mid" = { step = "1/4" }\n'
        '[songs."aa.mid"]\nstep = "1/4"\n[songs."a.mid"]\n[songs."?.mid"]\n',
    )
    assert book.unmatched(["aa.mid", "b.mid"]) == (
        "songbook.toml: line 2: no song is called 'x.mid'",
        "songbook.toml: line 5: no song is called 'a.mid'",
    )
