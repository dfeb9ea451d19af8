"""Finding songs: order, mirrored places, strange and clashing names, links that loop."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arranger.errors import SettingsError
from arranger.songbook.asked.find import Found, _places, find_songs

if TYPE_CHECKING:
    from pathlib import Path


def touch(folder: Path, *names: str) -> None:
    for name in names:
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"")


def places(folder: Path, out: Path) -> dict[str, str]:
    return {song.relative: song.place for song in find_songs([folder], out).found}


def test_structure_is_mirrored_and_order_is_fixed(tmp_path: Path) -> None:
    touch(tmp_path, "b.mid", "a/z.MID", "a/deep/er/x.musicxml", "notes.txt", ".hidden/h.mid")
    assert places(tmp_path, tmp_path / "out") == {
        "a/deep/er/x.musicxml": "a/deep/er/x",
        "a/z.MID": "a/z",
        "b.mid": "b",
    }


def test_clashing_names_get_places_of_their_own(tmp_path: Path) -> None:
    touch(tmp_path, "a.mid", "A.mid", "a.abc", "a-mid.mid", "songbook.mid")
    found = places(tmp_path, tmp_path / "out")
    assert len({place.casefold() for place in found.values()}) == 5
    assert found["songbook.mid"] != "songbook"


def test_names_that_garble_become_harmless_and_stay_apart(tmp_path: Path) -> None:
    touch(tmp_path, "line\nbreak.mid", "line_break.mid", "\u202egnos.mid", "mid...mid", "a:b?.mid")
    (tmp_path / os.fsdecode(b"no\xffutf8.mid")).write_bytes(b"")
    found = places(tmp_path, tmp_path / "out")
    assert len(set(found.values())) == 6
    for place in found.values():
        assert place.isprintable()
        assert not set(place) & set('\\:*?"<>|')
        place.encode()


def test_a_loop_of_links_ends_and_out_is_not_read(tmp_path: Path) -> None:
    songs = tmp_path / "songs"
    touch(songs, "a.mid", "out/old.mid")
    (songs / "again").symlink_to(songs, target_is_directory=True)
    (songs / "link.mid").symlink_to(songs / "a.mid")
    assert list(places(songs, songs / "out")) == ["a.mid", "link.mid"]


def test_a_folder_that_is_none_is_refused(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="isn't there"):
        find_songs([tmp_path / "nowhere"], tmp_path / "out")


@given(st.lists(st.text("aAb.-/\n ", min_size=1, max_size=6), unique=True, max_size=8))
def test_places_never_clash_nor_leave_out(stems: list[str]) -> None:
    relatives = [
        f"{stem.strip('/')}.mid" for stem in stems if all(part for part in stem.split("/"))
    ]
    relatives = [name for name in set(relatives) if ".." not in name.split("/")]
    found = list(_places(relatives).values())
    assert len({place.casefold() for place in found}) == len(relatives)
    for place in found:
        assert not place.startswith("/")
        assert not {"..", "."} & set(place.split("/"))


def test_found_is_a_plain_value(tmp_path: Path) -> None:
    touch(tmp_path, "a.mid")
    found = find_songs([tmp_path], tmp_path / "out").found
    assert found == (Found(tmp_path / "a.mid", "a.mid", "a"),)
