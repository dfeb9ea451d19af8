"""Scores are read apart: within limits, and nothing is left running however the reading ends."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import textwrap
import threading
import time
import uuid
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from arranger.errors import LimitError, SongError
from arranger.settings import ReadSettings
from arranger.song import read_song_bytes
from tests.song.midi_bytes import read
from tests.song.test_scores import bar, musicxml, tone

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

ROOT = Path(__file__).parents[2]
SHORT = b"X:1\nM:4/4\nL:1/4\nK:C\nCDEF|GABc|\n"
# music21 takes minutes for it: its way through Humdrum grows with the square of the length.
SLOW = ("**kern\n*M4/4\n" + "4c\n4d\n4e\n4f\n=\n" * 20_000 + "*-\n").encode()
# music21 writes a long note out bar by bar.
LONG_NOTE = b"X:1\nM:4/4\nL:1/8\nK:C\nCDEF|A,3-A,100000|GABc|\n"
# Takes hundreds of megabytes in music21's hands.
LARGE = musicxml(bar(1, tone("C", 4, 6), "<x/>" * 3_000_000))


HEARS_SIGNALS = """
import signal
signal.signal(signal.SIGINT, signal.default_int_handler)
signal.signal(signal.SIGHUP, signal.SIG_DFL)
"""
"""Also where the tests were started with these ignored."""


class Program:
    """A Python program of its own, whose processes can all be found."""

    def __init__(self, folder: Path, text: str, *arguments: str) -> None:
        self.mark = uuid.uuid4().hex
        path = folder / "program.py"
        path.write_text(HEARS_SIGNALS + textwrap.dedent(text))
        self.process = subprocess.Popen(
            [sys.executable, str(path), *arguments],
            env=os.environ | {"PYTHONPATH": str(ROOT), "PROGRAM_MARK": self.mark},
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )

    def end(self) -> None:
        """End all that still runs."""
        for process in self.processes():
            with contextlib.suppress(ProcessLookupError):
                os.kill(process, signal.SIGKILL)
        self.process.communicate(timeout=180)

    def processes(self) -> set[int]:
        """Return the program's process and all that it started, zombies left out."""
        found = set()
        for entry in Path("/proc").glob("[0-9]*"):
            try:
                if self.mark.encode() in (entry / "environ").read_bytes():
                    found.add(int(entry.name))
            except OSError:
                continue
        return found

    def wait_for(self, count: int) -> None:
        """Wait until so many processes run."""
        until = time.monotonic() + 60
        while len(self.processes()) != count:
            assert time.monotonic() < until, self.processes()
            time.sleep(0.02)


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Callable[..., Program]]:
    """Start programs in the test's folder, and end them with the test."""
    started: list[Program] = []

    def program(text: str, *arguments: str) -> Program:
        started.append(Program(tmp_path, text, *arguments))
        return started[-1]

    yield program
    for each in started:
        each.end()


@pytest.fixture
def slow(tmp_path: Path) -> Path:
    path = tmp_path / "slow.krn"
    path.write_bytes(SLOW)
    return path


def readers(*, zombies: bool = False) -> set[int]:
    """Return the reading processes of this process; with those of any kind that are zombies."""
    found: set[int] = set()
    for task in Path("/proc/self/task").iterdir():
        with suppress(FileNotFoundError):  # a thread that just ended
            for child in (task / "children").read_text().split():
                # Other tests' processes have another command line, a zombie has none.
                line = Path("/proc", child, "cmdline").read_bytes()
                if b"arranger.song.score.worker" in line or (zombies and not line):
                    found.add(int(child))
    return found


@pytest.fixture
def no_new_readers() -> Iterator[None]:
    read(SHORT)  # there may be one that waits
    before = len(readers(zombies=True))
    yield
    assert len(readers(zombies=True)) <= before


@pytest.mark.usefixtures("no_new_readers")
@pytest.mark.parametrize("endless", [SLOW, LONG_NOTE], ids=["humdrum", "abc"])
def test_a_score_that_takes_too_long_is_told_and_the_next_is_read(endless: bytes) -> None:
    with pytest.raises(LimitError, match=r"takes more than 0.5 seconds.*--score-seconds.*MIDI"):
        read(endless, score_seconds=0.5)
    assert len(read(SHORT).notes) == 8


@pytest.mark.usefixtures("no_new_readers")
def test_a_score_that_takes_too_much_memory_is_told_and_the_next_is_read() -> None:
    with pytest.raises(LimitError, match=r"more than 50 megabytes.*--score-megabytes.*MIDI"):
        read(LARGE, score_megabytes=50)
    assert len(read(SHORT, score_megabytes=50).notes) == 8


@pytest.mark.usefixtures("no_new_readers")
def test_an_interrupt_ends_the_reading() -> None:
    class TimeIsUpError(Exception):
        pass

    def ring(*_: object) -> None:
        raise TimeIsUpError

    before = signal.signal(signal.SIGALRM, ring)
    signal.setitimer(signal.ITIMER_REAL, 0.5)
    try:
        with pytest.raises(TimeIsUpError):
            read(SLOW)
    finally:
        signal.signal(signal.SIGALRM, before)


def test_a_reader_that_is_killed_is_told() -> None:
    read(SHORT)
    (worker,) = readers()
    killer = threading.Timer(0.3, os.kill, (worker, signal.SIGKILL))
    killer.start()
    with pytest.raises(SongError, match="broke down"):
        read(SLOW)
    killer.join(60)
    assert len(read(SHORT).notes) == 8


def test_threads_read_at_the_same_time() -> None:
    found: list[int] = []
    threads = [
        threading.Thread(target=lambda: found.append(len(read(SHORT).notes))) for _ in range(4)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert found == [8] * 4
    assert len(readers()) <= 1


def test_what_comes_back_is_bounded() -> None:
    words = f"<lyric><text>{'la' * 50_000}</text></lyric>"
    text = musicxml(bar(1, tone("C", 4, 6, words)))
    with pytest.raises(LimitError, match="larger than"):
        read_song_bytes(text, "words.xml", ReadSettings(max_bytes=10_000, max_notes=1))


READS = """
    import sys
    from arranger import read_song
    print(len(read_song(sys.argv[1]).notes), flush=True)
"""


def test_a_program_without_main_guard_reads_and_leaves_nothing(
    start: Callable[..., Program], tmp_path: Path
) -> None:
    song = tmp_path / "short.abc"
    song.write_bytes(SHORT)
    program = start(READS, str(song))
    assert program.process.communicate(timeout=180) == ("8\n", None)
    program.wait_for(0)


def test_a_forked_program_reads_on_both_sides(
    start: Callable[..., Program], tmp_path: Path
) -> None:
    song = tmp_path / "short.abc"
    song.write_bytes(SHORT)
    forks = READS + "\n    import os\n    os.fork()\n" + READS
    program = start(forks, str(song))
    assert program.process.communicate(timeout=180) == ("8\n8\n8\n", None)
    program.wait_for(0)


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGTERM, signal.SIGINT, signal.SIGHUP])
def test_the_reader_ends_with_its_program(
    start: Callable[..., Program], tmp_path: Path, slow: Path, number: int
) -> None:
    program = start(READS, str(slow))
    program.wait_for(2)
    time.sleep(0.5)
    program.process.send_signal(number)
    program.process.communicate(timeout=180)
    program.wait_for(0)


def test_a_memory_limit_from_outside_holds(start: Callable[..., Program], tmp_path: Path) -> None:
    large = tmp_path / "large.xml"
    large.write_bytes(LARGE)
    limits = """
    import resource
    resource.setrlimit(resource.RLIMIT_AS, (400_000_000, resource.RLIM_INFINITY))
    """
    told = f"""
    from arranger.errors import LimitError
    try:
    {textwrap.indent(READS, "    ")}
    except LimitError as error:
        print(error)
    """
    program = start(limits + told, str(large))
    said, _ = program.process.communicate(timeout=180)
    assert "megabytes of memory; allow it more" in said
    program.wait_for(0)


def test_a_songbook_reads_scores_within_its_own_limits(
    start: Callable[..., Program], tmp_path: Path, slow: Path
) -> None:
    songs = tmp_path / "songs"
    songs.mkdir()
    slow.rename(songs / "slow.krn")
    (songs / "short.abc").write_bytes(SHORT)
    program = start(
        "from arranger.cli.app import main\nmain()\n",
        *("songbook", str(songs), "-o", str(tmp_path / "out"), "--seconds", "7"),
    )
    said, _ = program.process.communicate(timeout=180)
    assert program.process.returncode == 1
    assert "longer than 7 seconds" in said
    assert (tmp_path / "out" / "short.duet").exists()
    program.wait_for(0)
