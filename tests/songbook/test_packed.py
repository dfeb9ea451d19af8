"""A ZIP of songs: as the folder that was packed, whatever is in it."""

from __future__ import annotations

import io
import os
import stat
import struct
import zipfile
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arranger.cli.songbook import songs_named
from arranger.engine.create import new_engine
from arranger.errors import SettingsError, SongError
from arranger.songbook import convert_book, plan_book
from arranger.songbook.asked.archives import MOST_LARGEST, look_into, read_member
from arranger.songbook.asked.find import find_songs
from arranger.songbook.asked.which_songs import asked_songs
from tests.songbook.runs import choice, codes, plain, tree
from tests.songbook.songs import write_song


def packed(path: Path, folder: Path, below: str = "") -> Path:
    """Pack a folder, as people do."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as target:
        for each in sorted(folder.rglob("*")):
            target.write(each, below + each.relative_to(folder).as_posix())
    return path


def zip_of(path: Path, *entries: tuple[zipfile.ZipInfo | str, bytes]) -> Path:
    with zipfile.ZipFile(path, "w") as target:
        for name, content in entries:
            target.writestr(name, content)
    return path


def looked(path: Path) -> tuple[dict[str, bytes], tuple[str, ...]]:
    found = look_into(path, lambda name: name.endswith(".mid"), 1000)
    return {
        name: read_member(path, member, 1000) for name, member in found.members.items()
    }, found.remarks


def test_a_zip_is_as_the_folder_that_was_packed(tmp_path: Path) -> None:
    songs = tmp_path / "songs"
    write_song(songs / "a.mid", 1)
    write_song(songs / "marches" / "b.mid", 2)
    (songs / "broken.mid").write_bytes(b"<html>")
    (songs / "songbook.toml").write_text(
        '[defaults]\nengine = "mine.toml"\n[songs."marches/*"]\nstep = "1/4"\n'
    )
    new_engine(songs / "mine.toml", like="twin-counter")
    book = packed(tmp_path / "pack.zip", songs, "my songs/")
    first = convert_book(choice(tmp_path, sources=(book,), out=tmp_path / "one"))
    second = convert_book(choice(tmp_path, out=tmp_path / "two"))
    assert first.remarks == ()
    (tmp_path / "one" / "mine.toml").unlink()
    asked = choice(tmp_path, sources=(book,), out=tmp_path / "one")
    assert [each.why[0].code for each in plan_book(asked)[0]] == [
        "unchanged", "still-fails", "unchanged",
    ]  # fmt: skip
    convert_book(asked)
    assert [record.state for record in first.records] == ["done", "failed", "done"]
    assert first.records[2].step == "1/4"
    assert [record.notes_digest for record in first.records] == [
        record.notes_digest for record in second.records
    ]
    assert (tmp_path / "one" / "mine.toml").read_bytes() == (songs / "mine.toml").read_bytes()
    assert set(tree(tmp_path / "one")) - {"mine.toml"} == set(tree(tmp_path / "two"))

    write_song(songs / "a.mid", 3)
    packed(book, songs)
    assert codes(convert_book(asked).records) == {
        "a.mid": ["song"], "broken.mid": ["still-fails"], "marches/b.mid": ["unchanged"],
    }  # fmt: skip


def test_unpacking_it_changes_nothing(tmp_path: Path) -> None:
    write_song(tmp_path / "songs" / "a.mid", 1)
    book = packed(tmp_path / "pack.zip", tmp_path / "songs")
    first = convert_book(choice(tmp_path, sources=(book,)))
    then = convert_book(choice(tmp_path))
    assert codes(then.records) == {"a.mid": ["unchanged"]}
    assert plain(then.records) == plain(first.records)


def test_what_is_no_song_is_passed_by_and_what_is_odd_is_said(tmp_path: Path) -> None:
    link = zipfile.ZipInfo("link.mid")
    link.external_attr = (stat.S_IFLNK | 0o777) << 16
    book = zip_of(
        tmp_path / "a.zip",
        ("__MACOSX/x/._a.mid", b"junk"), ("x/._a.mid", b"junk"), ("x/.hidden/a.mid", b"junk"),
        ("x/", b""), ("notes.txt", b"junk"), ("x/folder.mid/", b""),
        ("x/inner.zip", b"PK"), (link, b"/etc/passwd"),
        ("x/a.mid", b"first"), ("y/b.mid", b"b"),
        ("../../up.mid", b"up"), ("/abs/olute.mid", b"abs"), ("C:\\songs\\c.mid", b"c"),
    )  # fmt: skip
    with pytest.warns(UserWarning, match="Duplicate"), zipfile.ZipFile(book, "a") as target:
        target.writestr("x/a.mid", b"second")
    songs, remarks = looked(book)
    assert songs == {
        "x/a.mid": b"second", "y/b.mid": b"b", "up.mid": b"up", "abs/olute.mid": b"abs",
        "songs/c.mid": b"c",
    }  # fmt: skip
    assert remarks == (
        "a.zip: ZIPs in it aren't looked into: x/inner.zip",
        "a.zip: links aren't followed: link.mid",
        "a.zip: names that lead out of it are taken as if they didn't: ../../up.mid, /abs/olute.mid, "
        "C:/songs/c.mid",
        "a.zip: of files that come twice the later one counts: x/a.mid",
    )


def test_names_in_other_encodings_are_read_together(tmp_path: Path) -> None:
    names = {"港の行進曲.mid": "cp932", "灯台の階段.mid": "cp932", "網を繕う人.mid": "cp932"}
    spelled = {
        f"{n}" * 10 + ".mid": name.encode(code) for n, (name, code) in enumerate(names.items())
    }
    book = zip_of(tmp_path / "a.zip", *((name, b"x") for name in spelled), ("é.mid", b"y"))
    content = book.read_bytes()
    for plain_name, name in spelled.items():
        assert len(name) == len(plain_name)
        content = content.replace(plain_name.encode(), name)
    book.write_bytes(content)
    assert looked(book)[0] == {**dict.fromkeys(names, b"x"), "é.mid": b"y"}


def test_bombs_are_refused_or_cost_only_themselves(tmp_path: Path) -> None:
    book = tmp_path / "bomb.zip"
    with zipfile.ZipFile(book, "w", zipfile.ZIP_DEFLATED) as target:
        for number in range(MOST_LARGEST + 1):
            target.writestr(f"{number}.mid", bytes(2000))
    with pytest.raises(SettingsError, match=r"65,065 bytes unpacked, more than 64,000"):
        looked(book)
    found = look_into(book, lambda name: name == "7.mid", 1000)
    assert read_member(book, found.members["7.mid"], 1000) == bytes(1001), "and not a byte more"


def test_damaged_and_encrypted_songs_cost_only_themselves(tmp_path: Path) -> None:
    songs = tmp_path / "songs"
    write_song(songs / "a.mid", 1)
    write_song(songs / "b.mid", 2)
    write_song(songs / "c.mid", 3)
    write_song(songs / "d.mid", 4)
    book = packed(tmp_path / "pack.zip", songs)
    content = bytearray(book.read_bytes())
    with zipfile.ZipFile(book) as source:
        infos = source.infolist()
    content[infos[1].header_offset + 45] ^= 0xFF  # its packed bytes
    directory = content.index(b"PK\x01\x02")
    third = content.index(b"PK\x01\x02", content.index(b"PK\x01\x02", directory + 4) + 4)
    content[third + 8] |= 1  # encrypted
    fourth = content.index(b"PK\x01\x02", third + 4)
    content[fourth + 10 : fourth + 12] = struct.pack("<H", 77)  # an unknown method
    book.write_bytes(content)
    found = {
        record.relative: record
        for record in convert_book(choice(tmp_path, sources=(book,))).records
    }
    assert found["a.mid"].state == "done"
    assert {found[f"{name}.mid"].reason for name in "bcd"} == {"unreadable"}
    assert "damaged in its ZIP" in found["b.mid"].message
    assert found["c.mid"].message == "is encrypted; unpack the ZIP with its password"
    assert "can't be unpacked" in found["d.mid"].message


def test_a_zip_that_changes_during_the_run_is_noticed(tmp_path: Path) -> None:
    book = zip_of(tmp_path / "a.zip", ("a.mid", b"one"))
    member = look_into(book, lambda _name: True, 1000).members["a.mid"]
    zip_of(book, ("a.mid", b"other"))
    with pytest.raises(SongError, match="changed while"):
        read_member(book, member, 1000)


@given(st.lists(st.tuples(st.floats(0, 1, exclude_max=True), st.integers(1, 255)), max_size=5))
def test_whatever_bytes_change_only_clear_errors_come(
    tmp_path_factory: pytest.TempPathFactory, flips: list[tuple[float, int]]
) -> None:
    text = io.BytesIO()
    with zipfile.ZipFile(text, "w", zipfile.ZIP_DEFLATED) as target:
        for name in ("a.mid", "x/b.mid", "é.mid"):
            target.writestr(name, name.encode() * 20)
    content = bytearray(text.getvalue())
    for share, mask in flips:
        content[int(share * len(content))] ^= mask
    path = tmp_path_factory.mktemp("zip") / "a.zip"
    path.write_bytes(content)
    try:
        found = look_into(path, lambda _name: True, 1000)
    except SettingsError:
        return
    for relative, member in found.members.items():
        assert not relative.startswith("/")
        assert not {"..", "."} & set(relative.split("/"))
        try:
            read_member(path, member, 1000)
        except SongError:
            continue


def test_several_sources_lie_below_the_folder_that_holds_them_all(tmp_path: Path) -> None:
    for name in ("a.mid", "marches/b.mid", "waltzes/c.mid", "odd.bin"):
        write_song(tmp_path / "songs" / name, 1)
    book = packed(tmp_path / "songs" / "pack.zip", tmp_path / "songs" / "waltzes")

    def found(*names: str) -> list[str]:
        sources = [tmp_path / "songs" / name for name in names]
        return [song.relative for song in find_songs(sources, tmp_path / "out").found]

    assert found("a.mid") == ["a.mid"]
    assert found("a.mid", "marches/b.mid") == ["a.mid", "marches/b.mid"]
    assert found("marches/b.mid", "marches", "marches/../a.mid") == ["a.mid", "marches/b.mid"]
    assert found("marches", "waltzes") == ["marches/b.mid", "waltzes/c.mid"]
    assert found("marches", book.name) == ["marches/b.mid", "pack.zip/c.mid"]
    assert found("a.mid", "odd.bin", "gone.mid") == ["a.mid", "gone.mid", "odd.bin"]
    assert found("") == ["a.mid", "marches/b.mid", "waltzes/c.mid"]
    with pytest.raises(SettingsError, match="isn't there"):
        found("a.mid", "gone")
    (tmp_path / "songs" / "broken.zip").write_bytes(book.read_bytes()[:-30])
    with pytest.raises(SettingsError, match="is no ZIP that can be read"):
        found("broken.zip")


def test_settings_lie_in_the_zip_or_beside_it_or_in_the_folder_of_all(tmp_path: Path) -> None:
    songs = tmp_path / "songs"
    write_song(songs / "a.mid", 1)
    write_song(songs / "b" / "b.mid", 1)
    settings = songs / "songbook.toml"

    def steps(*sources: Path) -> list[str]:
        asked = asked_songs(choice(tmp_path, sources=sources))
        return [str(job.settings.grid.step) for job in asked.jobs] + list(asked.remarks)

    bare = songs / "pack.zip"
    packed(tmp_path / "pack.zip", songs).rename(bare)
    settings.write_text('[defaults]\nstep = "1/4"\n[songs."a.mid"]\nstep = "1/3"\n')
    assert steps(bare) == ["1/3", "1/4"]
    assert steps(songs / "b" / "b.mid", songs / "a.mid") == ["1/3", "1/4"]
    assert steps(songs / "b" / "b.mid") == ["None"], "whose folder is another"
    settings.write_text('[songs."b/*"]\nstep = "1/2"\n')
    inside = packed(tmp_path / "inside.zip", songs / "b")
    assert steps(songs / "a.mid") == ["None"], "and no word of a table for others"
    settings.write_text('[songs."c*"]\nstep = "1/2"\n')
    assert steps(bare)[2:] == ["songbook.toml: line 1: no song is called 'c*'"]
    zip_of(inside, ("songbook.toml", b"[defaults\n"), ("a.mid", b""))
    with pytest.raises(SettingsError, match=r"inside\.zip/songbook\.toml: is no valid TOML"):
        steps(inside)


def test_songs_that_were_not_asked_for_are_still_known(tmp_path: Path) -> None:
    songs = tmp_path / "songs"
    for name in "ab":
        write_song(songs / f"{name}.mid", 1)
    convert_book(choice(tmp_path))
    some = convert_book(choice(tmp_path, sources=(songs / "a.mid",)))
    assert codes(some.records) == {"a.mid": ["unchanged"]}
    assert set(map(tuple, codes(convert_book(choice(tmp_path)).records).values())) == {
        ("unchanged",)
    }


def test_lists_name_songs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("list.txt").write_bytes(b"\xef\xbb\xbfsongs/a b.mid\r\n\nc.mid")
    assert songs_named(["x", "@list.txt"]) == (Path("x"), Path("songs/a b.mid"), Path("c.mid"))
    given = io.TextIOWrapper(io.BytesIO(b"no\xffutf8.mid\n@list.txt\n"))
    monkeypatch.setattr("sys.stdin", given)
    assert songs_named(["-"]) == (Path(os.fsdecode(b"no\xffutf8.mid")), Path("@list.txt"))
    with pytest.raises(
        SettingsError, match=r"gone\.txt: the list can't be read: No such.*\./@gone\.txt"
    ):
        songs_named(["@gone.txt"])
    with pytest.raises(SettingsError, match="names no song"):
        songs_named(["-"])
