"""songbook.toml: defaults, songs, patterns; wrong keys by name and line."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from arranger.errors import SettingsError
from arranger.options import build_settings
from arranger.settings import Settings
from arranger.songbook.book_settings import read_book_settings

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


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('[defaults]\nengine = "x"\ndrumz = "light"\n', r"line 3: .*'drumz'.*'drums'"),
        ('[songs."a.mid"]\n\nstep = "1/5"\n', r"line 3: .*'1/5' is none of the steps"),
        ('[sogns."a.mid"]\nstep = "1/4"\n', r"line 1: there is no table \[sogns\]"),
        ("[defaults\n", "no valid TOML"),
        ('songs = "a"\n', "songs is no table"),
        ('[songs]\n"a.mid" = 3\n', "'a.mid' is no table"),
    ],
)
def test_mistakes_are_named_with_their_line(tmp_path: Path, text: str, message: str) -> None:
    with pytest.raises(SettingsError, match=message):
        read(tmp_path, text)
