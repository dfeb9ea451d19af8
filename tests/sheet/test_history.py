"""The history beside a sheet: every version comes back to the byte, and nothing stops a command."""

from __future__ import annotations

import hashlib
import json
import os
import random
import re
import signal
import stat
import subprocess
import sys
import time
import zlib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import settings as profile
from hypothesis import strategies as st

from arranger.cli.app import run
from arranger.conversion import convert
from arranger.engine import load_engine
from arranger.errors import ArrangerWarning, OutputError, SheetError
from arranger.files import backup_path
from arranger.settings import Settings
from arranger.sheet import format_sheet
from arranger.sheet.history import file, versions
from arranger.sheet.history.back import go_to, redo, undo
from arranger.sheet.history.differing import differing
from arranger.sheet.history.file import (
    damaged_path,
    found_in,
    history_path,
    is_put_back,
    read_history,
    taking_turns,
    write_version,
)
from arranger.sheet.history.versions import (
    MOST_BYTES,
    MOST_VERSIONS,
    DamagedError,
    History,
    TooLargeError,
    applied,
    contents,
    delta,
    noted,
    pack_history,
    unpack_history,
)
from arranger.song import read_song
from tests.processes import running

SONG = Path(__file__).parents[2] / "demo_songs" / "two_gulls.mid"

lines = st.sampled_from(
    [b"bar 1\n", b"voice 1 C4\r\n", b"\r", b"\n", b"\xff\xfe", b"\xef\xbb\xbf", b"x"]
)
texts = st.lists(lines, max_size=8).map(b"".join) | st.binary(max_size=12)


@given(texts, texts)
def test_a_text_comes_back_from_its_change_of_any_other(base: bytes, target: bytes) -> None:
    assert applied(base, delta(base, target), len(target)) == target


def test_a_changed_line_costs_little() -> None:
    text = b"".join(b"  voice 1   %d   -\n" % number for number in range(2000))
    assert len(delta(text, text.replace(b" 700 ", b" 701 ").replace(b" 900 ", b" 901 "))) < 100
    rows = random.Random(1).choices((b"voice 1 C4\n", b"voice 1 .\n", b"\n"), k=2000)
    assert len(delta(b"".join(rows), b"".join((*rows[:700], b"x\n", *rows[701:])))) < 30


class Plain:
    """What undo and redo are, in two stacks."""

    def __init__(self) -> None:
        self.behind: list[bytes] = []
        self.ahead: list[bytes] = []
        self.all: list[bytes] = []

    def note(self, content: bytes) -> None:
        if self.behind[-1:] != [content]:
            self.behind.append(content)
            self.all.append(content)
            self.ahead.clear()


actions = st.lists(
    st.tuples(st.sampled_from(["write", "edit", "undo", "redo", "redo"]), texts, st.integers(1, 3)),
    max_size=25,
)


@given(actions)
@profile(max_examples=30)
def test_any_walk_is_that_of_two_stacks(
    tmp_path_factory: pytest.TempPathFactory, walk: list[tuple[str, bytes, int]]
) -> None:
    path = tmp_path_factory.mktemp("walk") / "x.duet"
    path.write_bytes(b"first")
    write_version(path, b"second", "tidy")
    plain = Plain()
    plain.note(b"first")
    plain.note(b"second")
    for what, content, steps in walk:
        stood = path.read_bytes()
        if what == "edit":
            path.write_bytes(content)
            continue
        plain.note(stood)
        if what == "write":
            write_version(path, content, "tidy")
            plain.note(content)
        elif what == "undo" and steps < len(plain.behind):
            undo(path, steps)
            for _ in range(steps):
                plain.ahead.append(plain.behind.pop())
        elif what == "redo" and steps <= len(plain.ahead):
            redo(path, steps)
            for _ in range(steps):
                plain.behind.append(plain.ahead.pop())
        else:
            with pytest.raises(SheetError, match="version"):
                undo(path, steps) if what == "undo" else redo(path, steps)
            assert path.read_bytes() == stood
            continue
        assert path.read_bytes() == plain.behind[-1]
    kept = [content for _, content in contents(read_history(path))]
    assert kept[::-1] == plain.all


def test_what_an_edit_after_an_undo_left_behind_is_reached_by_its_number(tmp_path: Path) -> None:
    path = tmp_path / "x.duet"
    path.write_bytes(b"1")
    for content in (b"2", b"3"):
        write_version(path, content, "tidy")
    undo(path, 2)
    write_version(path, b"4", "tidy")
    assert go_to(path, 2).content == path.read_bytes() == b"2"
    assert redo(path).content == b"3"
    assert go_to(path, 4).content == b"4"
    assert undo(path).content == b"1"
    assert redo(path).content == b"4"  # to where it led before, not to the first branch
    with pytest.raises(SheetError, match="version 5 isn't known"):
        go_to(path, 5)


@given(st.data())
def test_a_damaged_history_is_known_for_one(data: st.DataObject) -> None:
    history = History()
    for content in (b"one\ntwo\n", b"one\n2\n", b"\x00"):
        history = noted(history, content, 1, "tidy")
    packed = pack_history(history)
    assert unpack_history(packed) == history
    at = data.draw(st.integers(0, len(packed) - 1))
    cut = data.draw(st.booleans())
    bad = packed[:at] + (b"" if cut else bytes([packed[at] ^ data.draw(st.integers(1, 255))]))
    with pytest.raises(DamagedError):
        unpack_history(bad if cut else bad + packed[at + 1 :])


@pytest.mark.parametrize(
    ("said", "instead"),
    [(b'"now":2', b'"now":3'), (b'"tip":2', b'"tip":7'), (b'[1,0,', b'[2,0,'), (b'"tidy"', b"null"),
     (b"[2,1,", b"[2,2,"), (b'"versions"', b'"version"')],
)  # fmt: skip
def test_a_history_that_says_what_cannot_be_is_known_for_one(said: bytes, instead: bytes) -> None:
    _, rest = pack_history(noted(noted(History(), b"1", 1, "tidy"), b"2", 1, "tidy")).split(
        b"\n", 1
    )
    assert said in rest
    bad = rest.replace(said, instead)
    with pytest.raises(DamagedError):
        unpack_history(
            b"arranger-history 1 %s\n%s" % (hashlib.sha256(bad).hexdigest().encode(), bad)
        )


def test_a_history_of_nothing_is_whole() -> None:
    assert unpack_history(pack_history(History())) == History()


def test_the_oldest_versions_go_first() -> None:
    history = History()
    for number in range(MOST_VERSIONS + 3):
        history = noted(history, b"%d" % number, number, "tidy")
    assert [version.seconds for version in history.versions] == [*range(3, MOST_VERSIONS + 3)]
    assert [content for _, content in contents(history)][-1] == b"3"
    rng = random.Random(1)
    for number in range(5):
        history = noted(history, rng.randbytes(240_000), number, "tidy")
        assert len(pack_history(history)) <= MOST_BYTES
        lengths = [version.length for version in history.versions]
        assert lengths.count(240_000) == min(number + 1, 4), "none goes that fits"
    assert lengths == 4 * [240_000]


def test_each_version_takes_400_bytes_besides_what_is_packed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(versions, "MOST_BYTES", 9000)

    def of(packed: int, seed: int) -> bytes:
        """Return one line that takes so many bytes when it is packed."""
        line = random.Random(seed).randbytes(9000).replace(b"\n", b"").replace(b"\r", b"")
        found = line[: 2 * packed - len(zlib.compress(line[:packed]))]
        assert len(zlib.compress(found)) == packed
        return found

    most = of(8600, 1)
    assert len(noted(History(), most, 0, "tidy").versions) == 1
    with pytest.raises(TooLargeError):
        noted(History(), of(8601, 1), 0, "tidy")
    first = of(3000, 2)
    change = len(zlib.compress(delta(b"", first)))
    for size, kept in ((8200 - change, 2), (8201 - change, 1)):
        history = noted(noted(History(), first, 0, "tidy"), of(size, 3), 0, "tidy")
        assert len(history.versions) == kept


def test_what_no_history_can_say_is_damaged() -> None:
    assert unpack_history(pack_history(History())) == History()
    history = noted(noted(History(), b"1", 5, "tidy" * 20), b"2", 6, "tidy")
    assert unpack_history(pack_history(history)) == history
    assert [(v.number, v.before, v.by) for v in history.versions] == [
        (1, 0, "tidy" * 10),
        (2, 1, "tidy"),
    ]
    first, second = history.versions
    for wrong in (
        History((first, second._replace(before=2)), history.packed, 2, 2),
        History((second, first), history.packed, 2, 2),
        History((first, first), history.packed, 1, 1),
        History((first._replace(seconds=5.5), second), history.packed, 2, 2),  # type: ignore[arg-type]
        History(history.versions, history.packed, 3, 2),
        History(history.versions, history.packed, 2, 0),
    ):
        with pytest.raises(DamagedError):
            unpack_history(pack_history(wrong))


def test_a_version_too_large_for_a_history_is_told_and_loses_none(tmp_path: Path) -> None:
    path = tmp_path / "x.duet"
    path.write_bytes(b"1")
    write_version(path, b"2", "tidy")
    large = random.Random(1).randbytes(MOST_BYTES + 1)
    with pytest.warns(ArrangerWarning, match="can't hold a version that takes more than 1,000,000"):
        write_version(path, large, "tidy")
    assert path.read_bytes() == large
    with pytest.raises(SheetError, match="can't hold"):
        undo(path)
    assert path.read_bytes() == large
    write_version(backup_path(path), b"kept", "tidy")
    path.write_bytes(b"3")
    assert undo(path).content == b"2"


def test_a_file_larger_than_any_sheet_is_not_kept_however_well_it_packs(tmp_path: Path) -> None:
    path = tmp_path / "x.duet"
    path.touch()
    os.truncate(path, 32_000_000)
    assert found_in(path) == bytes(32_000_000)
    os.truncate(path, 32_000_001)
    with pytest.raises(TooLargeError):
        found_in(path)


def test_a_first_write_leaves_no_history_nor_does_the_same_again(tmp_path: Path) -> None:
    path = tmp_path / "folder" / "x.duet"
    for _ in range(2):
        write_version(path, b"1", "convert")
    path.unlink()
    path.touch()
    write_version(path, b"2", "convert")
    assert not history_path(path).exists()
    with pytest.raises(SheetError, match="no earlier version is known"):
        undo(path)
    assert not history_path(path).exists()


def test_versions_that_are_not_known_are_counted(tmp_path: Path) -> None:
    path = tmp_path / "x.duet"
    for content, known in ((b"1", "no earlier version is"), (b"2", "only 1 earlier version is"),
                           (b"3", "only 2 earlier versions are")):  # fmt: skip
        write_version(path, content, "convert")
        with pytest.raises(SheetError, match=f"{known} known"):
            undo(path, 3)


def test_a_sheet_that_is_gone_comes_back(tmp_path: Path) -> None:
    path = tmp_path / "x.duet"
    path.write_bytes(b"1")
    write_version(path, b"2", "tidy")
    path.unlink()
    move = undo(path)
    assert (move.left, path.read_bytes()) == (None, b"2")


def test_the_history_keeps_no_version_of_itself_and_is_as_private_as_the_sheet(
    tmp_path: Path,
) -> None:
    path = tmp_path / "x.duet"
    path.write_bytes(b"1")
    path.chmod(0o600)
    for content in (b"2", b"3"):
        write_version(path, content, "tidy")
    names = sorted(entry.name for entry in tmp_path.iterdir())
    assert names == ["x.duet", "x.duet.history", "x.duet~"]
    assert stat.S_IMODE(history_path(path).stat().st_mode) == 0o600
    path.chmod(0o644)
    write_version(path, b"4", "tidy")
    assert stat.S_IMODE(history_path(path).stat().st_mode) == 0o644


def test_links_lead_to_one_history(tmp_path: Path) -> None:
    folder = tmp_path / "there"
    folder.mkdir()
    real, link = folder / "x.duet", tmp_path / "link.duet"
    real.write_bytes(b"1")
    link.symlink_to(real)
    write_version(link, b"2", "tidy")
    assert sorted(entry.name for entry in tmp_path.iterdir()) == ["link.duet", "there"]
    assert undo(real).content == b"1"
    assert redo(link).content == b"2"
    assert link.is_symlink()


def test_of_a_file_with_two_names_one_changes(tmp_path: Path) -> None:
    path, other = tmp_path / "x.duet", tmp_path / "other.duet"
    path.write_bytes(b"1")
    other.hardlink_to(path)
    write_version(path, b"2", "tidy")
    undo(path)
    redo(path)
    assert other.read_bytes() == b"1"
    assert not history_path(other).exists()


def test_pipes_have_no_history(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    with subprocess.Popen(["cat", str(pipe)], stdout=subprocess.PIPE) as reader:
        write_version(pipe, b"content", "tidy")
        assert reader.communicate(timeout=60)[0] == b"content"
    assert [entry.name for entry in tmp_path.iterdir()] == ["pipe"]
    with pytest.raises(OutputError, match="no plain file"):
        undo(pipe)


@pytest.mark.parametrize("content", [b"", b"no history\n", b"arranger-history 1 00\n{}\n"])
def test_a_damaged_history_is_kept_aside_once_and_begun_anew(
    tmp_path: Path, content: bytes
) -> None:
    path = tmp_path / "x.duet"
    path.write_bytes(b"1")
    history_path(path).write_bytes(content)
    damaged_path(path).write_bytes(b"an older one")
    with pytest.raises(SheetError, match="damaged"):
        undo(path)
    with pytest.warns(ArrangerWarning, match="begun anew") as told:
        write_version(path, b"2", "tidy")
    assert len(told) == 1
    assert damaged_path(path).read_bytes() == content
    assert undo(path).content == b"1"


@pytest.mark.parametrize("kind", ["folder", "read-only"])
def test_a_history_that_cannot_be_written_stops_no_command(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "x.duet"
    path.write_bytes(b"1")
    where = history_path(path)
    if kind == "folder":
        where.mkdir()
    else:
        write_version(path, b"0", "tidy")
        where.chmod(0o444)
    before = None if kind == "folder" else where.read_bytes()
    with pytest.warns(ArrangerWarning, match=r"x\.duet\.history: .*so undo won't know") as told:
        write_version(path, b"2", "tidy")
    assert len(told) == 1
    assert path.read_bytes() == b"2"
    assert before is None or where.read_bytes() == before
    with pytest.raises((SheetError, OutputError)):
        undo(path)
    assert path.read_bytes() == b"2"


def test_all_of_a_comment_counts() -> None:
    assert str(differing(b"bar 1\nx # a # b\n", b"bar 1\nx # a b\n")) == "bar 1 changed"


def test_what_differs_is_told_by_what_the_lines_say() -> None:
    one = b"tempo 120\n\nbar 1 4/4\nvoice 1 C4 - | -\nbar 2\nvoice 1 D4\nbar 3\nbar 4\n# a\n"
    assert str(differing(one, one.replace(b"C4 - | -", b"C4--"))) == "only the layout"
    assert str(differing(one, one.replace(b"D4", b"E4"))) == "bar 2 changed"
    other = b"\xef\xbb\xbftempo 90\nbar 9 4/4\nvoice 1 A4\nbar 10 4/4\nvoice 1 C4 - -\n"
    told = str(differing(one, other + b"bars 11-14 as 1-4\nnonsense \xff\n"))
    assert told == "bars 11-13 changed; bars 9, 14 new; header changed (tempo)"
    assert str(differing(b"bar -2\nx\n", b"bar -2\ny\n")) == "bar -2 changed"
    out = b"bar 1 4/4 # a\nvoice 1 C4 - | - # b\nbar 2\nvoice 1 F#4\nbar 3 4/4\nvoice 1 C4--\nbar 4\nvoice 1 F#4\n"
    folded = out[: out.index(b"bar 3")] + b"bars 3-4 as 1-2\n"
    assert str(differing(out, folded)) == "only the layout"
    assert str(differing(folded, folded.replace(b"F#", b"G"))) == "bars 2, 4 changed"
    assert str(differing(folded, folded.replace(b"1-2", b"1-2 loop"))) == "bar 3 changed"
    assert str(differing(folded, folded + b"# c\n")) == "bar 4 changed"
    later = b"bar 1\nx\nbar 2\ny\nbar 3\ny\n"
    assert str(differing(later, b"bar 1\ny\nbar 2\ny\nbar 3\nz\n")) == "bars 1, 3 changed"
    long = b"bar 1\nbars 2-999999999 as 1-999999998\n"
    assert str(differing(b"", long)) == "bars 1-100000 new"
    assert str(differing(b"bar 7\nbar\nx\n", b"bar 7\nbar\ny\n")) == "bar 8 changed"
    many = b"".join(b"bar %d\n" % number for number in range(2100))
    assert str(differing(many, many.replace(b"\n", b"\nx\n"))) == "bars 0-2099 changed"
    rows = b"".join(b"bar %d\nvoice 1 C%d\n" % (number, number) for number in range(2100))
    fewer = rows.replace(b"bar 9\nvoice 1 C9\n", b"")
    assert str(differing(rows, fewer)) == "bar 9 gone"
    assert str(differing(fewer, rows)) == "bar 9 new"
    other = b"".join(b"bar %d\nvoice 1 D%d\n" % (number, number) for number in range(1, 2101))
    other = b"bar 0\nvoice 1 C0\n" + other + b"bar 2101\nvoice 1 C2099\n"
    assert str(differing(rows, other)) == "bars 1-2098 changed; bars 2099-2100 new"
    assert str(differing(other, rows)) == "bars 1-2098 changed; bars 2099-2100 gone"


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (b"bar 1 # a\n", b"bar 1 #a\n"),
        (b"bar\n", b"bar 1\n"),
        (b"bar 3\nbar\n", b"bar 3\nbar 4\n"),
        (b"bar 1 # an ode\nx # a b\n", b"bar 1 #an  ode\nx #  ab\n"),
        (b"bar 1\nx\nbar 2 as 1\n", b"bar 1\nx\nbar 2\nx\n"),
        (b"bar 1 3/4 5 steps loop\nx\nbar 2 as 1\n", b"bar 1 3/4 5 steps loop\nx\nbar 2 3/4 5 steps\nx\n"),
        (b"bar 1 3/4\nx\nbar 2 2/4 as 1\n", b"bar 1 3/4\nx\nbar 2 2/4\nx\n"),
        (b"bar 1\nx\nbar 2 as 1 loop # a\n", b"bar 1\nx\nbar 2 loop # a\nx\n"),
        (b"generated x\ndigest y\nbar 1\n", b"bar 1\n"),
    ],
)  # fmt: skip
def test_two_ways_to_say_a_bar_differ_in_their_layout_alone(one: bytes, other: bytes) -> None:
    assert str(differing(one, other)) == "only the layout"


@pytest.fixture(scope="module")
def generated() -> str:
    settings = Settings()
    return format_sheet(convert(read_song(SONG), load_engine(settings.engine), settings).sheet)


@pytest.fixture
def sheet(tmp_path: Path, generated: str) -> Path:
    path = tmp_path / "two_gulls.duet"
    path.write_text(generated, "utf-8")
    return path


def edit(sheet: Path, tone: str) -> None:
    text = sheet.read_text("utf-8")
    sheet.write_text(re.sub(r"(voice 1 +)[A-G]#?\d *", rf"\g<1>{tone}    ", text, count=1), "utf-8")


def test_commands_keep_what_they_found_and_what_they_wrote(
    sheet: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    again = ["convert", str(SONG), "-o", str(sheet.parent), "--no-audio", "--no-suggestions"]
    stood = [sheet.read_bytes()]
    for words in (
        ["tidy", str(sheet)],
        [*again, "--force"],
        [*again, "--step", "1/4"],
        ["tidy", str(sheet)],
    ):
        if words[0] == "tidy":
            edit(sheet, "F#5")
            stood.append(sheet.read_bytes())
        assert run(words) == 0
        stood.append(sheet.read_bytes())
    capsys.readouterr()
    assert run(["undo", str(sheet), "--json"]) == 0
    listed = json.loads(capsys.readouterr().out)["versions"]
    by = ["generated", "edited", "tidy", "convert", "convert", "edited", "tidy"]
    assert [entry["by"] for entry in listed] == by
    assert [entry["changes"] for entry in listed[2:4]] == ["only the layout", "bar 2 changed"]
    for content in stood[-2::-1]:
        assert run(["undo", str(sheet)]) == 0
        assert sheet.read_bytes() == content
    assert "took back version 7 (tidy, " in capsys.readouterr().out
    assert run(["undo", str(sheet)]) == 1
    assert "no earlier version is known" in capsys.readouterr().err
    assert run(["redo", str(sheet), "--steps", "6"]) == 0
    assert sheet.read_bytes() == stood[-1]
    assert run(["undo", str(sheet), "--to", "4"]) == 0
    assert run(["undo", str(sheet), "--list"]) == 0
    assert "\n* version 4 (convert, " in capsys.readouterr().out
    assert run(["undo", str(sheet), "--to", "3", "--steps", "2"]) == 2


def test_the_first_undo_leads_to_what_was_generated(
    sheet: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    stood = sheet.read_bytes()
    assert run(["undo", str(sheet)]) == 1
    edit(sheet, "F#5")
    edited = sheet.read_bytes()
    assert run(["redo", str(sheet)]) == 1
    capsys.readouterr()
    assert run(["undo", str(sheet)]) == 0
    assert capsys.readouterr().out.splitlines()[-1] == (
        f"{sheet}: is version 1 (generated): bar 2 changed"
    ), "when isn't known"
    assert sheet.read_bytes() == stood
    assert run(["redo", str(sheet)]) == 0
    assert sheet.read_bytes() == edited


@pytest.mark.parametrize(
    ("said", "instead"),
    [(b"digest    ", b"digest    0"), (b"generated", b"# generated")],
)
def test_what_was_generated_is_told_only_where_it_is_known(
    sheet: Path, said: bytes, instead: bytes
) -> None:
    sheet.write_bytes(sheet.read_bytes().replace(said, instead))
    assert run(["undo", str(sheet)]) == 1
    assert not history_path(sheet).exists()


@pytest.mark.parametrize(("said", "instead"), [(b"bar 3", b"baz 3"), (b"step  ", b"stop  ")])
def test_a_sheet_that_was_broken_before_any_command_comes_back(
    sheet: Path, said: bytes, instead: bytes
) -> None:
    stood = sheet.read_bytes()
    sheet.write_bytes(stood.replace(said, instead, 1))
    broken = sheet.read_bytes()
    assert broken != stood
    assert run(["undo", str(sheet)]) == 0
    assert sheet.read_bytes() == stood
    assert run(["redo", str(sheet)]) == 0
    assert sheet.read_bytes() == broken


def test_a_sheet_written_over_by_an_empty_one_comes_back(sheet: Path) -> None:
    stood = sheet.read_bytes()
    assert run(["new", str(sheet), "--force"]) == 0
    assert b"voice 1   ." in sheet.read_bytes()
    assert run(["undo", str(sheet)]) == 0
    assert sheet.read_bytes() == stood


def test_trouble_with_the_history_is_one_line(
    sheet: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    edit(sheet, "F5")
    history_path(sheet).write_bytes(b"foreign")
    capsys.readouterr()
    assert run(["tidy", str(sheet)]) == 0
    told = capsys.readouterr().err.splitlines()
    assert told == [
        f"arranger: {history_path(sheet)}: is damaged, so it is begun anew; "
        "the damaged one is two_gulls.duet.history.damaged"
    ]


WRITER = """
import sys
from pathlib import Path
from arranger.sheet.history.file import write_version
name, first, last = sys.argv[1:]
for number in range(int(first), int(last)):
    write_version(Path(name), b"version %d\\n" % number * 50, "tidy")
    print(number, flush=True)
"""


def writer(path: Path, first: int, last: int) -> list[str]:
    return [sys.executable, "-c", WRITER, str(path), str(first), str(last)]


def numbers(path: Path) -> set[int]:
    return {int(content.split()[1]) for _, content in contents(read_history(path))}


def test_commands_at_once_lose_nothing(tmp_path: Path) -> None:
    path = tmp_path / "x.duet"
    path.write_bytes(b"version 0\n")
    with (
        running(writer(path, 1, 40), stdout=subprocess.PIPE) as one,
        running(writer(path, 101, 140), stdout=subprocess.PIPE) as other,
    ):
        assert one.wait(timeout=120) == other.wait(timeout=120) == 0
    assert numbers(path) == {0, *range(1, 40), *range(101, 140)}


def test_a_sheet_counts_as_put_back_until_it_is_changed(tmp_path: Path) -> None:
    path = tmp_path / "x.duet"
    path.write_bytes(b"1")
    assert not is_put_back(path)
    write_version(path, b"2", "tidy")
    assert not is_put_back(path)
    undo(path)
    assert is_put_back(path)
    path.write_bytes(b"3")
    assert not is_put_back(path)


def test_a_folder_that_another_command_holds_too_long_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("fcntl")
    monkeypatch.setattr(file, "_PATIENCE_SECONDS", 0.02)
    path = tmp_path / "x.duet"
    path.write_bytes(b"1")
    write_version(path, b"2", "tidy")
    with taking_turns(path) as ours:
        assert ours
        with pytest.warns(ArrangerWarning, match="too long, so undo won't know all versions"):
            write_version(path, b"3", "tidy")
        with pytest.raises(OutputError, match="another program has been writing"):
            undo(path)
    assert path.read_bytes() == b"3"
    assert undo(path).content == b"2"


def test_a_killed_command_leaves_one_state_or_the_other(tmp_path: Path) -> None:
    path = tmp_path / "x.duet"
    path.write_bytes(b"version 0\n")
    rng = random.Random(3)
    done = 0
    for _ in range(8):
        with running(writer(path, done + 1, 10_000), stdout=subprocess.PIPE) as process:
            assert process.stdout is not None
            for _ in range(rng.randint(1, 20)):
                done = int(process.stdout.readline())
            time.sleep(rng.random() * 0.004)
            process.send_signal(signal.SIGKILL)
            done = max([done, *map(int, process.stdout.read().split())])
        stands = int(path.read_bytes().split()[1])
        assert path.read_bytes() == b"version %d\n" % stands * 50
        assert stands in (done, done + 1)
        assert numbers(path) >= {0, *range(1, done)}
        stood = path.read_bytes()
        undo(path)
        redo(path)
        assert path.read_bytes() == stood
        done = stands
