"""What an output may replace, and how: the old file or the new one, nothing between, nothing lost."""

from __future__ import annotations

import os
import socket
import stat
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from arranger.errors import OutputError
from arranger.files import (
    backup_path,
    check_target,
    refuse_inputs,
    replacing,
    sweep,
    write_bytes,
    write_text,
)
from arranger.temporaries import remove_temporaries, temporary_file

ROOT = Path(__file__).parents[1]
as_root = pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root may do that"
)


def names(folder: Path) -> list[str]:
    return sorted(entry.name for entry in folder.iterdir())


def test_writing_makes_folders(tmp_path: Path) -> None:
    path = tmp_path / "a" / "b.txt"
    write_text(path, "new ♪\n")
    assert path.read_bytes() == "new ♪\n".encode()
    assert names(path.parent) == ["b.txt"]


def test_what_is_overwritten_is_kept_once(tmp_path: Path) -> None:
    path = tmp_path / "x"
    for content in ("first", "second", "third"):
        write_text(path, content)
    assert path.read_text() == "third"
    assert backup_path(path).read_text() == "second"
    assert names(tmp_path) == ["x", "x~"]


def test_equal_content_pushes_nothing_out(tmp_path: Path) -> None:
    path = tmp_path / "x"
    for content in ("first", "second", "second"):
        write_text(path, content)
    assert backup_path(path).read_text() == "first"


def test_an_empty_file_needs_no_keeping(tmp_path: Path) -> None:
    path = tmp_path / "x"
    path.touch()
    write_text(path, "content")
    assert names(tmp_path) == ["x"]


def test_without_hard_links_a_copy_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(Path, "hardlink_to", refuse)
    path = tmp_path / "x"
    path.write_text("old")
    path.chmod(0o640)
    write_text(path, "new")
    assert (path.read_text(), backup_path(path).read_text()) == ("new", "old")
    assert stat.S_IMODE(backup_path(path).stat().st_mode) == 0o640
    assert names(tmp_path) == ["x", "x~"]


@pytest.mark.parametrize("kind", ["folder", "link"])
def test_a_place_for_the_version_before_that_is_taken_is_not_cleared(
    tmp_path: Path, kind: str
) -> None:
    path = tmp_path / "x"
    path.write_text("old")
    if kind == "folder":
        backup_path(path).mkdir()
    else:
        backup_path(path).symlink_to("elsewhere")
    with pytest.raises(OutputError, match=r"x~: is no plain file.*move it away"):
        write_text(path, "new")
    assert path.read_text() == "old"
    assert names(tmp_path) == ["x", "x~"]


def test_a_failure_while_writing_leaves_the_old_file_and_no_litter(tmp_path: Path) -> None:
    path = tmp_path / "song.wav"
    write_bytes(path, b"old")

    def write_half() -> None:
        with replacing(path) as file:
            file.write(b"half")
            raise RuntimeError("stop")

    with pytest.raises(RuntimeError, match="stop"):
        write_half()
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]


def test_a_path_that_cannot_be_written_is_one_clear_error(tmp_path: Path) -> None:
    blocker = tmp_path / "file"
    blocker.write_text("in the way")
    with pytest.raises(OutputError, match="can't be written") as caught:
        write_text(blocker / "inside.txt", "x")
    assert caught.value.file == blocker / "inside.txt"


def test_permissions_follow_the_umask(tmp_path: Path) -> None:
    before = os.umask(0o027)
    try:
        write_text(tmp_path / "a", "x")
    finally:
        os.umask(before)
    assert (tmp_path / "a").stat().st_mode & 0o777 == 0o640


def test_the_umask_of_other_threads_is_never_touched(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[int] = []
    monkeypatch.setattr(os, "umask", asked.append)
    write_text(tmp_path / "a", "x")
    write_text(tmp_path / "a", "y")
    assert asked == []


@pytest.mark.parametrize("mode", [0o600, 0o640, 0o755, 0o666])
def test_the_mode_stays(tmp_path: Path, mode: int) -> None:
    path = tmp_path / "x"
    path.write_text("old")
    path.chmod(mode)
    write_text(path, "new")
    assert path.read_text() == "new"
    assert stat.S_IMODE(path.stat().st_mode) == mode


@as_root
def test_the_owner_stays(tmp_path: Path) -> None:
    path = tmp_path / "x"
    path.write_text("old")
    os.chown(path, 12_345, 23_456)
    write_text(path, "new")
    assert (path.stat().st_uid, path.stat().st_gid) == (12_345, 23_456)


def test_a_private_file_is_private_while_it_is_written(tmp_path: Path) -> None:
    path = tmp_path / "x"
    path.write_text("old")
    path.chmod(0o600)
    with replacing(path) as file:
        assert stat.S_IMODE(os.fstat(file.fileno()).st_mode) == 0o600


def test_links_are_followed(tmp_path: Path) -> None:
    real = tmp_path / "elsewhere" / "real"
    real.parent.mkdir()
    real.write_text("old")
    link = tmp_path / "link"
    link.symlink_to(Path("elsewhere", "real"))
    write_text(link, "new")
    assert link.is_symlink()
    assert real.read_text() == "new"
    assert names(tmp_path) == ["elsewhere", "link"]
    assert backup_path(real).read_text() == "old"


def test_a_dangling_link_is_followed_too(tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to("real")
    write_text(tmp_path / "link", "new")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real").read_text() == "new"


def test_a_loop_of_links_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a").symlink_to("b")
    (tmp_path / "b").symlink_to("a")
    with pytest.raises(OutputError, match="can't be written"):
        write_text(tmp_path / "a", "new")
    assert (tmp_path / "a").is_symlink()


def test_of_several_names_only_the_one_written_changes(tmp_path: Path) -> None:
    (tmp_path / "a").write_text("old")
    (tmp_path / "b").hardlink_to(tmp_path / "a")
    write_text(tmp_path / "a", "new")
    assert [(tmp_path / name).read_text() for name in ("a", "b", "a~")] == ["new", "old", "old"]


def test_a_pipe_is_written_through(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    heard: list[bytes] = []
    reader = threading.Thread(target=lambda: heard.append(pipe.read_bytes()), daemon=True)
    reader.start()
    write_bytes(pipe, b"content")
    reader.join(timeout=30)
    assert heard == [b"content"]
    assert pipe.is_fifo()
    assert names(tmp_path) == ["pipe"]


@as_root
def test_a_device_is_written_through(tmp_path: Path) -> None:
    node = tmp_path / "nothing"
    os.mknod(node, 0o666 | stat.S_IFCHR, os.makedev(1, 3))  # takes everything, gives nothing
    write_bytes(node, b"content")
    assert node.is_char_device()
    assert names(tmp_path) == ["nothing"]


def test_a_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="it is a folder; choose another name"):
        write_text(tmp_path, "x")


def test_a_socket_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)  # the whole path may be longer than a socket's name can be
    with socket.socket(socket.AF_UNIX) as server:
        server.bind("s")
        with pytest.raises(OutputError, match="it is no plain file"):
            write_text(tmp_path / "s", "x")
        assert (tmp_path / "s").is_socket()


def test_a_read_only_file_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "x"
    path.write_text("old")
    path.chmod(0o444)
    with pytest.raises(OutputError, match="read-only; make it writable"):
        write_text(path, "new")
    assert path.read_text() == "old"


def alias(path: Path, kind: str) -> Path:
    """Return another name of a file."""
    other = path.with_name(f"alias-{path.name}")
    if kind == "link":
        other.symlink_to(path.name)
    elif kind == "hard link":
        other.hardlink_to(path)
    elif kind == "winding":
        (path.parent / "sub").mkdir()
        return path.parent / "sub" / ".." / path.name
    else:
        return path
    return other


@pytest.mark.parametrize("kind", ["itself", "link", "hard link", "winding"])
def test_what_is_read_is_no_target_under_any_name(tmp_path: Path, kind: str) -> None:
    source = tmp_path / "song.mid"
    source.write_bytes(b"notes")
    with pytest.raises(OutputError, match="is the song, so it is not overwritten; choose another"):
        refuse_inputs(alias(source, kind), {"the song": source})


def test_the_song_is_known_by_its_content(tmp_path: Path) -> None:
    target = tmp_path / "x"
    target.write_bytes(b"abc")
    # FIPS 180-4's example of SHA-256, for the message "abc"
    digest = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    with pytest.raises(OutputError, match="is the song that the sheet was made from"):
        refuse_inputs(target, {}, digest)
    target.write_bytes(b"abcd")
    refuse_inputs(target, {}, digest)


def test_what_is_read_is_not_pushed_out_as_the_version_before(tmp_path: Path) -> None:
    before = tmp_path / "x~"
    before.write_bytes(b"read")
    refuse_inputs(tmp_path / "x", {"the sheet": before})  # nothing would be kept
    (tmp_path / "x").write_bytes(b"there")
    with pytest.raises(OutputError, match="x~: is the sheet"):
        refuse_inputs(tmp_path / "x", {"the sheet": before})


def test_a_target_is_looked_at_without_waiting_for_a_pipe(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    check_target(tmp_path / "pipe")
    refuse_inputs(tmp_path / "pipe", {"the song": tmp_path / "pipe"}, "0" * 64)


def test_temporaries_of_this_process_can_be_removed_at_any_moment(tmp_path: Path) -> None:
    with temporary_file(tmp_path) as (path, file):
        file.write(b"half")
        assert names(tmp_path) == [path.name]
        remove_temporaries()
        assert names(tmp_path) == []


WRITER = """
import sys, time
from pathlib import Path
from arranger.files import replacing
with replacing(Path(sys.argv[1])) as file:
    file.write(b"half")
    file.flush()
    print("ready", flush=True)
    time.sleep(600)
"""


def writer(path: Path) -> subprocess.Popen[bytes]:
    """Start a process that is in the middle of writing a file."""
    process = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(path)], cwd=ROOT, stdout=subprocess.PIPE
    )
    assert process.stdout is not None
    assert process.stdout.readline() == b"ready\n"
    return process


@pytest.mark.parametrize("how", ["sweep", "next write"])
def test_what_a_killed_process_left_goes_and_what_is_being_written_stays(
    tmp_path: Path, how: str
) -> None:
    (tmp_path / ".writing-ideas").write_text("a file of the user's")
    with writer(tmp_path / "killed") as killed, writer(tmp_path / "running") as running:
        try:
            killed.kill()
            killed.wait()
            assert len(names(tmp_path)) == 3
            if how == "sweep":
                sweep(tmp_path.parent)
            else:
                write_text(tmp_path / "next", "x")
                (tmp_path / "next").unlink()
            left = names(tmp_path)
            assert len(left) == 2
            assert left[1] == ".writing-ideas"
            assert (tmp_path / left[0]).read_bytes() == b"half"
        finally:
            running.kill()


def test_a_killed_process_leaves_the_old_or_the_new_file_whole(tmp_path: Path) -> None:
    path = tmp_path / "sheet"
    sizes = (200_000, 300_000)
    program = (
        "import sys, pathlib\n"
        "from arranger.files import write_bytes\n"
        "path = pathlib.Path(sys.argv[1])\n"
        "print('ready', flush=True)\n"
        "while True:\n"
        f"    write_bytes(path, b'a' * {sizes[0]})\n"
        f"    write_bytes(path, b'b' * {sizes[1]})\n"
    )
    for pause in (0.01, 0.02, 0.03):
        with subprocess.Popen(
            [sys.executable, "-c", program, str(path)], stdout=subprocess.PIPE, cwd=ROOT
        ) as process:
            assert process.stdout is not None
            process.stdout.readline()
            while not path.exists():
                assert process.poll() is None
                time.sleep(0.001)
            time.sleep(pause)
            process.kill()
        for file in (path, backup_path(path)):
            if file.exists():
                assert file.read_bytes() in {b"a" * sizes[0], b"b" * sizes[1]}
