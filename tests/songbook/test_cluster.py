"""Books on a real Dask cluster: its scheduler and workers are processes, which are really killed."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
from contextlib import ExitStack, contextmanager
from typing import TYPE_CHECKING, NamedTuple

import pytest

from arranger.errors import SettingsError
from arranger.songbook import convert_book
from tests.songbook.runs import choice, environment, is_running, tree, until, worked, workers_of
from tests.songbook.songs import write_book

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from arranger.songbook.progress import Progress

pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::ResourceWarning")


class Cluster(NamedTuple):
    """A scheduler and two workers."""

    address: str
    scheduler: subprocess.Popen[bytes]
    workers: tuple[subprocess.Popen[bytes], ...]

    def song_processes(self) -> list[int]:
        """Return the processes that convert songs, on all workers."""
        return [pid for worker in self.workers for pid in workers_of(worker.pid)]


@contextmanager
def cluster(folder: Path) -> Iterator[Cluster]:
    """Run a cluster for the time being; a worker of it that dies stays dead."""
    told = folder / "scheduler.json"
    command = [sys.executable, "-m"]
    where = ["--no-dashboard", "--scheduler-file", str(told)]
    with ExitStack() as stack:

        def start(module: str, *words: str) -> subprocess.Popen[bytes]:
            process = stack.enter_context(
                subprocess.Popen(
                    [*command, f"distributed.cli.{module}", *where, *words],
                    env=environment(), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                )
            )  # fmt: skip
            stack.callback(process.kill)
            return process

        scheduler = start("dask_scheduler", "--host", "127.0.0.1", "--port", "0")
        until(told.exists)
        address = json.loads(told.read_text())["address"]
        workers = tuple(start("dask_worker", "--nthreads", "1", "--no-nanny") for _ in range(2))
        yield Cluster(address, scheduler, workers)


def once(when: Callable[[Progress], object], do: Callable[[], None]) -> Callable[[Progress], None]:
    """Return what is to be told of progress, to do something at one moment of a run."""
    done = threading.Event()

    def look(now: Progress) -> None:
        if not done.is_set() and when(now):
            done.set()
            do()

    return look


def test_a_cluster_writes_the_same_bytes_though_workers_of_it_die(tmp_path: Path) -> None:
    write_book(tmp_path / "songs", 12, notes=100)
    (tmp_path / "songs" / "bad.mid").write_bytes(b"MThd")
    here = convert_book(choice(tmp_path, out=tmp_path / "here"))
    with cluster(tmp_path) as there:

        def kill() -> None:
            """Kill the process that converts a song on one worker, and all of the other worker."""
            os.kill(workers_of(there.workers[0].pid)[0], signal.SIGKILL)
            there.workers[1].kill()

        both_at_work = once(lambda _: len(there.song_processes()) == 2, kill)
        run = choice(tmp_path, out=tmp_path / "there", cluster=there.address)
        result = convert_book(run, both_at_work)
        assert there.workers[1].poll() is not None
        assert result.records == here.records
        assert tree(tmp_path / "there") == tree(tmp_path / "here")
        until(lambda: not there.song_processes())


def test_a_cluster_keeps_the_limits_and_is_missed_when_it_goes(tmp_path: Path) -> None:
    write_book(tmp_path / "songs", 10, notes=600)
    with cluster(tmp_path) as there:
        run = choice(tmp_path, cluster=there.address, seconds=6.0)

        def stop() -> None:
            """Stop a process, so that it answers no alarm: the one that did most, for another may be starting."""
            os.kill(max(there.song_processes(), key=worked), signal.SIGSTOP)

        result = convert_book(run, once(lambda now: now.done and there.song_processes(), stop))
        assert [record.reason for record in result.failed] == ["time"]
        assert result.converted == 9
        write_book(tmp_path / "more", 12, notes=300)
        more = choice(tmp_path, sources=(tmp_path / "more",), cluster=there.address)
        with pytest.raises(SettingsError, match=r"the cluster at 'tcp://.*' is gone"):
            convert_book(more, once(lambda now: now.done > 1, there.scheduler.kill))
        processes = there.song_processes()
    until(lambda: not any(map(is_running, processes)))
    assert convert_book(choice(tmp_path, sources=(tmp_path / "more",))).failed == ()


def test_a_cluster_that_is_not_there_is_one_clear_error(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("arranger.songbook.working.cluster.PATIENCE_SECONDS", 1)
    write_book(tmp_path / "songs", 1)
    with pytest.raises(SettingsError, match="no cluster answers"):
        convert_book(choice(tmp_path, cluster="tcp://127.0.0.1:9"))
