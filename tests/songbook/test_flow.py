"""A run as it goes on: results as they come, an overview to use, nobody who waits for another."""

from __future__ import annotations

import csv
import json
import os
import signal
import threading
from typing import TYPE_CHECKING

import pytest

from arranger.songbook import SongRecord, convert_book, progress, telling
from tests.songbook.runs import choice, tree, until, worked, workers_of
from tests.songbook.songs import write_book

if TYPE_CHECKING:
    from pathlib import Path

    from arranger.songbook.progress import Progress


@pytest.fixture
def eager(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have the overview written as often as can be."""
    for name in ("FIRST_SECONDS", "AGAIN_SECONDS", "SHARE"):
        monkeypatch.setattr(telling, name, 0)
    monkeypatch.setattr(progress, "PROGRESS_SECONDS", 0)


def told(out: Path) -> dict[str, object]:
    found: dict[str, object] = json.loads((out / "songbook.json").read_text())
    return found


@pytest.mark.usefixtures("eager")
def test_the_overview_grows_with_the_run_and_a_stop_leaves_it_to_use(tmp_path: Path) -> None:
    write_book(tmp_path / "songs", 12)
    out = tmp_path / "out"
    seen: list[int] = []

    def stop_after_five(now: Progress) -> None:
        if seen and now.done >= 5:
            raise KeyboardInterrupt
        if now.done and (out / "songbook.html").exists():
            found = told(out)
            run, songs = found["run"], found["songs"]
            assert isinstance(run, dict)
            assert isinstance(songs, list)
            assert (run["songs"], run["stopped"]) == (12, False)
            assert run["done"] == len(songs)
            page = (out / "songbook.html").read_text()
            assert f"The run goes on: {len(songs)} of 12 songs are done" in page
            rows = list(csv.DictReader((out / "songbook.csv").read_text().splitlines()))
            assert [row["song"] for row in rows] == [song["relative"] for song in songs]
            seen.append(len(songs))

    with pytest.raises(KeyboardInterrupt):
        convert_book(choice(tmp_path), stop_after_five)
    assert seen
    assert not workers_of(os.getpid())
    found = told(out)
    songs = found["songs"]
    assert isinstance(songs, list)
    assert found["run"] == {"done": len(songs), "songs": 12, "stopped": True}
    assert all((out / f"{song['place']}.duet").exists() for song in songs)
    stopped = (out / "songbook.html").read_text()
    assert f"The run was stopped: {len(songs)} of 12 songs are done." in stopped
    assert convert_book(choice(tmp_path)).converted == 12 - len(songs)
    assert "run" not in told(out)
    convert_book(choice(tmp_path, out=tmp_path / "clean"))
    assert [song_of(each) for each in told(out)["songs"]] == [  # type: ignore[attr-defined]
        song_of(each) for each in told(tmp_path / "clean")["songs"]  # type: ignore[attr-defined]
    ]  # fmt: skip


def song_of(told: dict[str, object]) -> dict[str, object]:
    """Return what is told of a song but what became of it since the run before."""
    return {key: value for key, value in told.items() if key not in {"why", "change"}}


@pytest.mark.usefixtures("eager")
def test_of_what_stands_there_only_the_last_complete_overview_is_kept(tmp_path: Path) -> None:
    write_book(tmp_path / "songs", 2)
    convert_book(choice(tmp_path))
    before = tree(tmp_path / "out")
    write_book(tmp_path / "songs", 8)
    convert_book(choice(tmp_path))
    for name in ("songbook.csv", "songbook.json", "songbook.html"):
        assert (tmp_path / "out" / f"{name}~").read_bytes() == before[name]


def test_a_song_that_never_ends_is_ended_while_the_others_are_done(tmp_path: Path) -> None:
    """A stopped process answers no alarm, like one that never comes back to Python."""
    write_book(tmp_path / "songs", 6, notes=800)
    states: list[Progress] = []

    def stop_one() -> None:
        """Stop the one that did most, for the other may be starting."""
        until(lambda: any((tmp_path / "out").rglob("*.report.html")))
        os.kill(max(workers_of(os.getpid()), key=worked), signal.SIGSTOP)

    stopper = threading.Thread(target=stop_one)
    stopper.start()
    result = convert_book(choice(tmp_path, seconds=7.0, workers=2), states.append)
    stopper.join()
    assert [record.reason for record in result.failed] == ["time"]
    assert result.converted == 5
    assert any(state.done == 5 for state in states)  # all others were done before it was ended
    assert not workers_of(os.getpid())


def killing(count: int, songs: Path, out: Path) -> tuple[list[int], tuple[SongRecord, ...]]:
    """Convert a book while so many workers are killed, one after the other; return them and it."""
    killed: list[int] = []
    over = threading.Event()

    def kill() -> None:
        while len(killed) < count and not over.wait(0.02):
            for worker in workers_of(os.getpid()):
                if worker not in killed:
                    os.kill(worker, signal.SIGKILL)
                    killed.append(worker)
                    break

    killer = threading.Thread(target=kill)
    killer.start()
    try:
        records = convert_book(choice(songs.parent, sources=(songs,), out=out)).records
    finally:
        over.set()
        killer.join()
    return killed, records


def test_a_song_whose_worker_died_is_tried_again_alone(tmp_path: Path) -> None:
    write_book(tmp_path / "songs", 1, notes=5000)
    killed, records = killing(1, tmp_path / "songs", tmp_path / "once")
    assert (len(killed), [record.state for record in records]) == (1, ["done"])
    killed, records = killing(2, tmp_path / "songs", tmp_path / "twice")
    assert len(killed) == 2
    assert [(record.reason, record.message) for record in records] == [
        ("crashed", "its worker process died, twice")
    ]
