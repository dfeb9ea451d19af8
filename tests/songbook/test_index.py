"""The index, damaged in every way: told in a line, built anew, and no edit is lost."""

from __future__ import annotations

import os
import shutil
import sqlite3
import tempfile
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.errors import OutputError
from arranger.songbook import SongRecord, convert_book
from arranger.songbook.known.index import NAME, REBUILT, Known, opened
from arranger.songbook.known.why import Made, output_stamps
from arranger.songbook.summing_up import result_text
from tests.songbook.runs import choice, codes, edit, plain
from tests.songbook.songs import write_book

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

KNOWN = {
    f"song{number}.mid": Known(
        Made("digest"),
        {"a.duet": "1:2"},
        SongRecord(relative=f"song{number}.mid", place="p", state="done", notes=number),
    )
    for number in range(60)
}


def filled(out: Path) -> Path:
    """Return an index that knows some songs."""
    with opened(out) as index:
        for relative, known in KNOWN.items():
            index.remember(relative, known)
    return out / NAME


def sql(*statements: str) -> Callable[[Path], None]:
    """Return what damages an index by changes that are no damage to SQLite."""

    def damage(path: Path) -> None:
        with closing(sqlite3.connect(path, isolation_level=None)) as connection:
            for statement in statements:
                connection.execute(statement)

    return damage


def bytes_at(place: int, new: bytes) -> Callable[[Path], None]:
    """Return what overwrites some bytes of an index."""

    def damage(path: Path) -> None:
        with path.open("r+b") as file:
            file.seek(place)
            file.write(new)

    return damage


DAMAGE: dict[str, Callable[[Path], None]] = {
    "empty": lambda path: path.write_bytes(b""),
    "cut in the first page": lambda path: os.truncate(path, 1000),
    "cut in a later page": lambda path: os.truncate(path, path.stat().st_size // 2),
    "no database": lambda path: path.write_text("<html>not found</html>" * 400),
    "said to be read-only": bytes_at(18, b"\xff"),
    "page size": bytes_at(16, b"\x00\x03"),
    "first page": bytes_at(100, b"\xff" * 300),
    "text in a row": sql("UPDATE songs SET record = 'no JSON'"),
    "another JSON in a row": sql("UPDATE songs SET record = '[1, 2]'"),
    "one digit in a row": sql(
        """UPDATE songs SET record = replace(record, '"dropped": 0', '"dropped": 7')"""
    ),
    "a key": sql("UPDATE songs SET relative = 'x' WHERE relative LIKE '%song000%'"),
    "other types": sql("UPDATE songs SET made = 5, outputs = x'00ff', digest = x'ff'"),
    "bytes for text": sql("UPDATE songs SET record = CAST(x'ff00fe' AS TEXT)"),
    "another version": sql("ALTER TABLE songs ADD COLUMN more TEXT"),
    "no table": sql("DROP TABLE songs"),
    "a foreign table": sql("CREATE TABLE more (a)"),
    "a foreign trigger": sql(
        "CREATE TRIGGER no BEFORE INSERT ON songs BEGIN SELECT RAISE(FAIL, 'no'); END"
    ),
}


@pytest.fixture(scope="module")
def converted(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, tuple[SongRecord, ...]]:
    """Return a folder with two songs and their outputs, and what is known of them."""
    folder = tmp_path_factory.mktemp("book")
    write_book(folder / "songs", 2)
    return folder, convert_book(choice(folder)).records


@pytest.mark.parametrize("damage", DAMAGE.values(), ids=DAMAGE.keys())
def test_damage_is_told_and_mended_and_the_edit_is_still_there(
    tmp_path: Path,
    converted: tuple[Path, tuple[SongRecord, ...]],
    damage: Callable[[Path], None],
) -> None:
    folder, before = converted
    shutil.copytree(folder, tmp_path, dirs_exist_ok=True)
    sheet = tmp_path / "out" / "shelf0" / "song000.duet"
    edited = edit(sheet)
    damage(tmp_path / "out" / NAME)
    result = convert_book(choice(tmp_path))
    told = [line for line in result_text(result).splitlines() if REBUILT in line]
    assert told == [f"{NAME} {REBUILT}"]
    assert sheet.read_text() == edited
    assert [record.state for record in result.records] == ["kept-edit", "done"]
    assert codes(result.records) == {
        "shelf0/song000.mid": ["lost", "kept-edit"], "shelf1/song001.mid": ["lost"],
    }  # fmt: skip
    assert plain(result.records)[1] == plain(before)[1]
    again = convert_book(choice(tmp_path))
    assert (again.remarks, again.converted) == ((), 0)
    assert plain(again.records) == plain(result.records)


@settings(max_examples=60)
@given(
    flips=st.lists(st.tuples(st.floats(0, 1, exclude_max=True), st.integers(1, 255)), max_size=4),
    cut=st.none() | st.floats(0, 1),
)
def test_whatever_bytes_change_nothing_wrong_is_known(
    flips: list[tuple[float, int]], cut: float | None
) -> None:
    with tempfile.TemporaryDirectory() as place:
        path = filled(Path(place))
        content = bytearray(path.read_bytes())
        for share, mask in flips:
            content[int(share * len(content))] ^= mask
        path.write_bytes(content if cut is None else content[: int(cut * len(content))])
        with opened(Path(place)) as index:
            assert index.known.items() <= KNOWN.items()
            assert index.rebuilt or index.known == KNOWN
            index.remember("new.mid", KNOWN["song0.mid"])
        with opened(Path(place)) as index:
            assert not index.rebuilt
            assert "new.mid" in index.known


@contextmanager
def as_somebody(folder: Path) -> Iterator[None]:
    """Be a user who owns a folder and may not write everywhere, as root may."""
    if os.geteuid() != 0:
        yield
        return
    for path in (folder, *folder.rglob("*")):
        os.chown(path, 65534, 65534)
    os.setresuid(65534, 65534, 0)
    try:
        yield
    finally:
        os.setresuid(0, 0, 0)


def test_what_may_not_be_written_is_said_to_be_read_only() -> None:
    # Not below tmp_path, into which another user can't look.
    with tempfile.TemporaryDirectory() as place:
        out = Path(place)
        content = filled(out).read_bytes()
        with as_somebody(out):
            for shut, mode in ((out / NAME, 0o444), (out, 0o555)):
                before = shut.stat().st_mode
                shut.chmod(mode)
                with pytest.raises(OutputError) as caught, opened(out):
                    pass
                shut.chmod(before)
                assert str(caught.value) == (
                    f"{shut}: is read-only; make it writable, or choose another folder with -o"
                )
        assert (out / NAME).read_bytes() == content
        with opened(out) as index:
            assert index.known == KNOWN


def test_a_folder_in_the_place_of_the_index_is_said(tmp_path: Path) -> None:
    (tmp_path / NAME).mkdir()
    with pytest.raises(OutputError, match="is a folder where the index"), opened(tmp_path):
        pass


def test_what_was_remembered_before_an_error_is_known_to_the_next_run(tmp_path: Path) -> None:
    def stopped() -> None:
        with opened(tmp_path) as index:
            index.remember("song1.mid", KNOWN["song1.mid"])
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        stopped()
    with opened(tmp_path) as index:
        assert index.known == {"song1.mid": KNOWN["song1.mid"]}
        assert index.interrupted


def test_an_error_of_the_index_is_not_hidden_by_saving_it(tmp_path: Path) -> None:
    def filled_up() -> None:
        with opened(tmp_path) as index:
            # SQLite gives up the whole transaction, as it does on a full disk.
            index._connection.execute("PRAGMA max_page_count = 3")
            for number in range(1000):
                index.remember(f"song{number}.mid", KNOWN["song1.mid"])

    with pytest.raises(OutputError, match="full; free the space"):
        filled_up()


def test_an_output_that_was_touched_is_another(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    path.write_bytes(b"sound")
    os.utime(path, ns=(10**18, 10**18))
    before = output_stamps(tmp_path, ["a.wav"])
    assert output_stamps(tmp_path, ["a.wav"]) == before
    os.utime(path, ns=(10**18, 10**18 + 1000))
    assert output_stamps(tmp_path, ["a.wav"]) != before, "another time"
    os.utime(path, ns=(10**18, 10**18))
    path.write_bytes(b"noise!")
    os.utime(path, ns=(10**18, 10**18))
    assert output_stamps(tmp_path, ["a.wav"]) != before, "another size"
    path.unlink()
    assert output_stamps(tmp_path, ["a.wav"]) != before, "gone"
