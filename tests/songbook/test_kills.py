"""Runs and workers that are killed: nothing is lost, nothing is left, nobody lives on."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import threading
import time
from typing import TYPE_CHECKING

from arranger.songbook import convert_book
from tests.songbook.runs import (
    PATIENCE_SECONDS,
    choice,
    command,
    environment,
    is_running,
    temporaries,
    tree,
    until,
    workers_of,
)
from tests.songbook.songs import write_book

if TYPE_CHECKING:
    from pathlib import Path


def test_killed_workers_cost_nothing_but_time(tmp_path: Path) -> None:
    write_book(tmp_path / "songs", 16, notes=300)
    stop = threading.Event()
    killed: list[int] = []

    def kill_twice() -> None:
        while len(killed) < 2 and not stop.wait(0.05):
            if any((tmp_path / "out").rglob("*.duet")):
                workers = [pid for pid in workers_of(os.getpid()) if pid not in killed]
                if workers:
                    os.kill(workers[0], signal.SIGKILL)
                    killed.append(workers[0])
                    time.sleep(1.0)

    killer = threading.Thread(target=kill_twice)
    killer.start()
    try:
        result = convert_book(choice(tmp_path))
    finally:
        stop.set()
        killer.join()
    assert killed
    crashed = [record for record in result.failed if record.reason == "crashed"]
    assert len(crashed) == len(result.failed) <= len(killed)
    for _ in range(2):  # in the second run each song is left for the same reason
        clean = convert_book(choice(tmp_path, out=tmp_path / "clean"))
        mended = convert_book(choice(tmp_path))
    assert mended.records == clean.records
    assert tree(tmp_path / "out") == tree(tmp_path / "clean")


def test_a_worker_killed_while_it_writes_leaves_nothing(tmp_path: Path) -> None:
    write_book(tmp_path / "songs", 8, notes=100)
    stop = threading.Event()
    caught: list[Path] = []

    def kill_one_that_writes() -> None:
        """Freeze the workers again and again; kill them when one has a file half written."""
        while not caught and not stop.wait(0.002):
            workers = workers_of(os.getpid())
            for worker in workers:
                os.kill(worker, signal.SIGSTOP)
            caught.extend(temporaries(tmp_path / "out"))
            for worker in workers:
                with contextlib.suppress(ProcessLookupError):
                    os.kill(worker, signal.SIGKILL if caught else signal.SIGCONT)

    killer = threading.Thread(target=kill_one_that_writes)
    killer.start()
    try:
        convert_book(choice(tmp_path, audio="wav"))
    finally:
        stop.set()
        killer.join()
    assert caught
    assert not temporaries(tmp_path / "out")


def test_a_run_killed_midway_is_finished_by_the_next(tmp_path: Path) -> None:
    write_book(tmp_path / "songs", 16, notes=150)
    out = tmp_path / "out"
    run = command(tmp_path / "songs", out, "--workers", "2")
    with subprocess.Popen(
        run, env=environment(), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        start_new_session=True,
    ) as process:  # fmt: skip
        while len(list(out.rglob("*.report.html"))) < 4:
            assert process.poll() is None
            time.sleep(0.01)
        os.killpg(process.pid, signal.SIGKILL)
    subprocess.run(run, env=environment(), check=True, capture_output=True)
    assert not temporaries(out)
    for folder in (out, tmp_path / "clean", tmp_path / "clean"):
        convert_book(choice(tmp_path, out=folder))
    assert tree(out) == tree(tmp_path / "clean")


def test_workers_end_with_their_run_however_it_ends(tmp_path: Path) -> None:
    write_book(tmp_path / "songs", 20, notes=300)
    for number in (signal.SIGKILL, signal.SIGTERM, signal.SIGHUP, signal.SIGINT):
        out = tmp_path / number.name
        with subprocess.Popen(
            command(tmp_path / "songs", out, "--workers", "2"), env=environment(),
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True,
        ) as process:  # fmt: skip
            until(lambda out=out: any(out.rglob("*.report.html")) or process.poll() is not None)  # type: ignore[misc]
            workers = workers_of(process.pid)
            assert workers
            process.send_signal(number)
            process.wait(PATIENCE_SECONDS)
        until(lambda workers=workers: not any(map(is_running, workers)))  # type: ignore[misc]
        assert not temporaries(out)


def test_a_worker_is_deaf_to_ctrl_c_which_the_run_answers(tmp_path: Path) -> None:
    write_book(tmp_path / "songs", 6, notes=300)
    struck = threading.Event()

    def strike() -> None:
        until(lambda: any((tmp_path / "out").rglob("*.duet")))
        for worker in workers_of(os.getpid()):
            os.kill(worker, signal.SIGINT)
            struck.set()

    striker = threading.Thread(target=strike)
    striker.start()
    result = convert_book(choice(tmp_path))
    striker.join()
    assert struck.is_set()
    assert not result.failed


def test_a_script_needs_no_main_guard_and_is_run_once(tmp_path: Path) -> None:
    write_book(tmp_path / "songs", 2)
    script = tmp_path / "script.py"
    script.write_text(
        "print('runs')\n"
        "from pathlib import Path\n"
        "from tests.songbook.runs import choice\n"
        "from arranger.songbook import convert_book\n"
        f"print(convert_book(choice(Path({str(tmp_path)!r}))).converted)\n"
    )
    words = [sys.executable, str(script)]
    ran = subprocess.run(words, env=environment(), capture_output=True, text=True, check=True)
    assert (ran.stdout, ran.stderr) == ("runs\n2\n", "")
