"""What each command does with each kind of output target, and what signals leave behind.

Run it as ``python -m tests.benchmarks.output_targets [KILLS]``; it prints two tables. The first runs
every command on every kind of target and looks at what stands there afterwards: a cell says
``LOST`` where something of the user's is gone, and the goal is none. The second ends ``render`` and
``convert`` at random moments until KILLS (40) runs a signal were cut short; the goals are no temporary file left after
TERM, HUP and INT, none after the run that follows a KILL, and never a file that is neither old nor new.

Some kinds need root: device nodes, and small file systems that are full or read-only. Without it they
are skipped, and the table says so.
"""

from __future__ import annotations

import os
import random
import signal
import socket
import stat
import subprocess
import sys
import tempfile
import threading
import time
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import OutputError
from arranger.sheet.history.file import save
from arranger.sheet.history.versions import History, moved, noted
from tests.processes import ROOT, interruptible

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

SONG = ROOT / "demo_songs" / "two_gulls.mid"
ROOT_USER = hasattr(os, "geteuid") and os.geteuid() == 0
TIMEOUT_SECONDS = 120


class Place(NamedTuple):
    """Where a case is played."""

    folder: Path
    song: Path
    sheet: Path
    target: Path
    command: str


COMMANDS: dict[str, tuple[str, Callable[[Place], list[str | Path]]]] = {
    "convert": (
        "song.duet",
        lambda p: ["convert", p.song, "-o", p.target.parent, "--no-suggestions", "--no-audio"],
    ),
    "render": ("t.wav", lambda p: ["render", p.sheet, "--bars", "1-2", "-o", p.target]),
    "export midi": ("t.mid", lambda p: ["export", p.sheet, "--as", "midi", "-o", p.target]),
    "export json": ("t.json", lambda p: ["export", p.sheet, "--as", "json", "-o", p.target]),
    "tidy -o": ("t.duet", lambda p: ["tidy", p.sheet, "-o", p.target]),
    "bars -o": ("t.duet", lambda p: ["bars", p.sheet, "swap", "1", "-o", p.target]),
    "spread -o": ("t.duet", lambda p: ["spread", p.sheet, "-o", p.target]),
    "new": ("t.duet", lambda p: ["new", "--bars", "2", p.target]),
    "undo": ("t.duet", lambda p: ["undo", with_history(p)]),
    "redo": ("t.duet", lambda p: ["redo", with_history(p)]),
    "songbook": (
        "song.duet",
        lambda p: ["songbook", p.song.parent, "-o", p.target.parent, "--workers", "1"],
    ),
}
"""Name of the target and the words, by command; convert and songbook are looked at by their sheet."""


def with_history(place: Place) -> Path:
    """Return the target; a history knows an older sheet to stand there and one before and after."""
    if not place.target.exists() or not place.target.samefile(place.song):
        history = History()
        for content in (place.sheet.read_bytes(), older(place), place.sheet.read_bytes() + b"#\n"):
            history = noted(history, content, 1, "bars")
        with suppress(OutputError):  # where nothing can be written
            save(moved(history, 2), place.target)
    return place.target


class Done(NamedTuple):
    """What a command said."""

    code: int
    out: bytes
    err: str


def run(words: list[str | Path]) -> Done:
    done = subprocess.run(
        [sys.executable, "-m", "arranger", *map(str, words)],
        env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONDONTWRITEBYTECODE": "1"},
        capture_output=True,
        check=False,
        timeout=TIMEOUT_SECONDS,
    )
    return Done(done.returncode, done.stdout, done.stderr.decode())


def words(place: Place) -> list[str | Path]:
    return COMMANDS[place.command][1](place)


def result(place: Place, done: Done, *, kept: bytes | None = None, at: Path | None = None) -> str:
    """Say in words what came of a target that held ``kept``."""
    if "Traceback" in done.err:
        return "TRACEBACK"
    at = at or place.target
    backup = at.with_name(at.name + "~")
    now = at.read_bytes() if at.is_file() else None
    left = [path for path in place.folder.rglob(".writing-*") if path.is_file()]
    if left:
        return "LEFT A TEMPORARY"
    said = "written" if done.code == 0 else f"refused ({done.code})"
    if (
        place.command == "songbook"
        and done.code == 1
        and "unwritable" in done.err + done.out.decode()
    ):
        said = "refused (that song, 1)"
    if kept is None:
        return said
    if now == kept:
        return said if done.code else "left as it was"
    if backup.is_file() and backup.read_bytes() == kept:
        return f"{said}, NAME~ kept"
    return "LOST"


def older(place: Place) -> bytes:
    """Return a sheet that was generated and not edited, in other bytes than the next one."""
    return place.sheet.read_bytes().replace(b"tempo", b"tempo ")


def holding(place: Place, content: bytes) -> str:
    place.target.write_bytes(content)
    return result(place, run(words(place)), kept=content)


def other_file(place: Place) -> str:
    # A file that is no sheet is refused where a generated sheet would go: it may be an edit half done.
    return holding(place, b"mine\n")


def the_song(place: Place) -> str:
    """Put the song itself where the output goes."""
    if place.command == "songbook":
        return "- (no output has a song's suffix)"
    content = place.song.read_bytes()
    place.target.unlink(missing_ok=True)
    place.song.rename(place.target)
    moved = place._replace(song=place.target)
    said = result(moved, run(words(moved)), kept=content)
    return said if place.target.read_bytes() == content else "LOST"


def linked_to_song(place: Place, make: Callable[[Path, Path], None]) -> str:
    content = place.song.read_bytes()
    make(place.target, place.song)
    said = result(place, run(words(place)))
    return said if place.song.read_bytes() == place.target.read_bytes() == content else "LOST"


def the_sheet(place: Place) -> str:
    if place.command in {"convert", "songbook"}:
        return "- (reads none)"
    if place.command in {"undo", "redo"}:
        return "- (the sheet is the target)"
    content = place.sheet.read_bytes()
    target = place.target
    if place.command == "render":
        target.hardlink_to(place.sheet)  # its name must end in .wav
    else:
        target = place.sheet
    moved = place._replace(target=target)
    said = result(moved, run(words(moved)), kept=content)
    return said if place.sheet.read_bytes() == content else "LOST"


def a_link(place: Place) -> str:
    real = place.folder / "real"
    real.write_bytes(older(place))
    place.target.symlink_to(real)
    said = result(place, run(words(place)), kept=older(place), at=real)
    return f"{said}, link stays" if place.target.is_symlink() else "LOST"


def a_dangling_link(place: Place) -> str:
    real = place.folder / "real"
    place.target.symlink_to(real)
    said = result(place, run(words(place)))
    return f"{said}, link stays" if place.target.is_symlink() and real.is_file() else "LOST"


def a_hard_link(place: Place) -> str:
    other = place.folder / "other"
    other.write_bytes(older(place))
    place.target.hardlink_to(other)
    said = result(place, run(words(place)), kept=older(place))
    return f"{said}, other name as before" if other.read_bytes() == older(place) else "LOST"


def a_pipe(place: Place) -> str:
    os.mkfifo(place.target)
    heard: list[bytes] = []
    reader = threading.Thread(target=lambda: heard.append(place.target.read_bytes()), daemon=True)
    reader.start()
    done = run(words(place))
    reader.join(timeout=5)
    said = result(place, done)
    if done.code and reader.is_alive():  # nothing was sent, so it still waits
        os.close(os.open(place.target, os.O_WRONLY | os.O_NONBLOCK))
        reader.join()
        return said
    return (
        f"{said} through" if place.target.is_fifo() and heard and heard[0] else f"{said}, NOT HEARD"
    )


def a_device(place: Place) -> str:
    if not ROOT_USER:
        return "skipped: needs root"
    os.mknod(place.target, 0o666 | stat.S_IFCHR, os.makedev(1, 3))  # a node that takes everything
    said = result(place, run(words(place)))
    return f"{said} through" if place.target.is_char_device() else "LOST"


def read_only(place: Place) -> str:
    place.target.write_bytes(older(place))
    place.target.chmod(0o444)
    said = result(place, run(words(place)), kept=older(place))
    return said if place.target.read_bytes() == older(place) else "LOST"


@contextmanager
def small_disk(place: Place) -> Iterator[Place | None]:
    """Yield the place with its target, a sheet, on a file system of its own; None: can't be had."""
    disk = place.folder / "disk"
    disk.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=64k", "none", str(disk)]
    if not ROOT_USER or subprocess.run(mount, capture_output=True, check=False).returncode:
        yield None
        return
    try:
        moved = place._replace(target=disk / place.target.name)
        moved.target.write_bytes(older(place))
        yield moved
    finally:
        subprocess.run(["umount", str(disk)], check=True)


def read_only_folder(place: Place) -> str:
    with small_disk(place) as disk:
        if disk is None:
            return "skipped: nothing can be mounted"
        mount = ["mount", "-o", "remount,ro", str(disk.target.parent)]
        subprocess.run(mount, check=True)
        return result(disk, run(words(disk)), kept=older(place))


def full_disk(place: Place) -> str:
    with small_disk(place) as disk:
        if disk is None:
            return "skipped: nothing can be mounted"
        with disk.target.with_name("filler").open("wb", buffering=0) as filler:
            for size in (4096, 1):
                with suppress(OSError):
                    while True:
                        filler.write(bytes(size))
        return result(disk, run(words(disk)), kept=older(place))


def a_folder(place: Place) -> str:
    place.target.mkdir()
    said = result(place, run(words(place)))
    return said if place.target.is_dir() else "LOST"


def a_socket(place: Place) -> str:
    here = Path.cwd()
    os.chdir(place.target.parent)
    try:
        with socket.socket(socket.AF_UNIX) as server:
            server.bind(place.target.name)
            said = result(place, run(words(place)))
    finally:
        os.chdir(here)
    return said if place.target.is_socket() else "LOST"


def standard_output(place: Place) -> str:
    if place.command in {"convert", "songbook"}:
        done = run([*words(place), "-o", "-"]) if place.command == "convert" else None
        return "- (several files)" if done is None else result(place, done)
    done = run([*words(place)[:-1], "-"])
    if done.code:
        return result(place, done)
    return f"{result(place, done)}, {len(done.out):,} bytes" if done.out else "NOTHING"


CASES: dict[str, Callable[[Place], str]] = {
    "nothing there": lambda place: result(place, run(words(place))),
    "the song": the_song,
    "link to the song": lambda place: linked_to_song(place, Path.symlink_to),
    "hard link of the song": lambda place: linked_to_song(place, Path.hardlink_to),
    "the sheet": the_sheet,
    "another file": other_file,
    "generated before": lambda place: holding(place, older(place)),
    "link to a file": a_link,
    "dangling link": a_dangling_link,
    "hard link of a file": a_hard_link,
    "pipe": a_pipe,
    "device": a_device,
    "read-only file": read_only,
    "read-only folder": read_only_folder,
    "full disk": full_disk,
    "folder": a_folder,
    "socket": a_socket,
    "-": standard_output,
}


def prepared(folder: Path, sheet: bytes, command: str) -> Place:
    (folder / "songs").mkdir()
    (folder / "out").mkdir()
    song = folder / "songs" / "song.mid"
    song.write_bytes(SONG.read_bytes())
    place = Place(
        folder, song, folder / "song.duet", folder / "out" / COMMANDS[command][0], command
    )
    place.sheet.write_bytes(sheet)
    return place


def targets() -> Iterator[str]:
    """Yield the lines of the table of targets."""
    with tempfile.TemporaryDirectory() as name:
        run(["convert", SONG, "-o", name, "--no-audio", "--no-suggestions"])
        sheet = (Path(name) / "two_gulls.duet").read_bytes().replace(b"two_gulls.mid", b"song.mid")
    yield f"| target | {' | '.join(COMMANDS)} |"
    yield f"| --- |{' --- |' * len(COMMANDS)}"
    for case, play in CASES.items():
        cells = []
        for command in COMMANDS:
            with tempfile.TemporaryDirectory() as name:
                folder = Path(name)
                folder.chmod(0o755)
                cells.append(play(prepared(folder, sheet, command)))
                (folder / "out").chmod(0o755)
        yield f"| {case} | {' | '.join(cells)} |"


def kills(count: int) -> Iterator[str]:
    """Yield the lines of the table of kills."""
    yield (
        "| command | signal | ended early | done before | ended otherwise | left a temporary "
        "| left after the next run | damaged files |"
    )
    yield "| --- | --- | --- | --- | --- | --- | --- | --- |"
    chance = random.Random(12)
    for command in ("render", "convert"):
        for number in (signal.SIGTERM, signal.SIGHUP, signal.SIGINT, signal.SIGKILL):
            with tempfile.TemporaryDirectory() as name:
                yield _killed(Path(name), command, number, count, chance)


def _killed(
    folder: Path, command: str, number: signal.Signals, count: int, chance: random.Random
) -> str:
    variants = [
        interruptible(
            "convert", SONG, "-o", folder, "--no-suggestions", "--force", "--transpose", str(shift)
        )
        for shift in (1, 2)
    ]
    if command == "render":
        subprocess.run(variants[0], check=True, capture_output=True)
        sheet = folder / "two_gulls.duet"
        variants = [interruptible("render", sheet, "--loop", str(rounds)) for rounds in (3, 4)]
    whole: set[bytes] = set()
    seconds = 0.0
    for variant in variants:
        started = time.monotonic()
        subprocess.run(variant, check=True, capture_output=True)
        seconds = time.monotonic() - started
        whole |= {path.read_bytes() for path in folder.iterdir()}
    ended = done = others = left = 0
    damaged: set[str] = set()
    while ended < count and ended + done < 4 * count:
        with subprocess.Popen(
            variants[(ended + done) % 2], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        ) as process:
            time.sleep(chance.uniform(0.2, 1.0) * seconds)
            process.send_signal(number)
            code = process.wait(timeout=TIMEOUT_SECONDS)
        done += code == 0
        ended += code != 0
        others += code not in {0, -number, 130}
        temporaries = list(folder.glob(".writing-*"))
        left += bool(temporaries)
        damaged |= {
            path.name
            for path in folder.iterdir()
            if path not in temporaries and path.read_bytes() not in whole
        }
    subprocess.run(variants[0], check=True, capture_output=True)
    after = len(list(folder.glob(".writing-*")))
    return (
        f"| {command} | {number.name} | {ended} | {done} | {others} | {left} | {after} "
        f"| {len(damaged)} |"
    )


def main() -> None:
    for line in targets():
        print(line, flush=True)
    print()
    for line in kills(int(sys.argv[1]) if len(sys.argv) > 1 else 40):
        print(line, flush=True)


if __name__ == "__main__":
    main()
