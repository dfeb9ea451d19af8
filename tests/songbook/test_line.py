"""The line of songs that wait, and what is foretold of it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arranger.settings import Settings
from arranger.sheet.keep import NOT_KEPT
from arranger.songbook.asked.job import Job
from arranger.songbook.progress import Estimate, estimate
from arranger.songbook.working.line import JobQueue, Load

if TYPE_CHECKING:
    from collections.abc import Sequence


def job(path: Path) -> Job:
    return Job(
        source=path, relative=path.name, place=path.stem, out=path.parent, settings=Settings(),
        audio=None, force=False, keeping=NOT_KEPT, seconds=60.0, megabytes=2000,
    )  # fmt: skip


def line_of(folder: Path, sizes: dict[str, int]) -> JobQueue:
    for name, size in sizes.items():
        (folder / name).write_bytes(bytes(size))
    return JobQueue(job(folder / name) for name in (*sizes, "gone.mid"))


def test_a_line_is_served_from_its_longest_and_its_shortest_song(tmp_path: Path) -> None:
    # A score takes longer than a MIDI file of its size.
    line = line_of(tmp_path, {"a.mid": 500, "b.mid": 100, "c.krn": 50, "d.mid": 900})
    ends = (True, False, False, True, True, False)
    taken = [line.take(longest=longest) for longest in ends]
    names = [each and each.relative for each in taken]
    assert names == ["c.krn", "gone.mid", "b.mid", "d.mid", "a.mid", None]


def test_what_is_put_back_waits_for_all_others_and_counts_as_ahead(tmp_path: Path) -> None:
    line = line_of(tmp_path, {"a.mid": 500, "b.mid": 100})
    assert line.ahead() == Load(3, 600.0)
    first, second = line.take(longest=True), line.take(longest=True)
    assert first is not None
    assert second is not None
    line.put_back(first)
    assert (len(line), line.ahead(), len(line.at_work())) == (1, Load(3, 600.0), 1)
    line.finish(second, converted=True)
    assert (line.done(), line.ahead()) == (Load(1, 100.0), Load(2, 500.0))
    line.turn()
    assert line.take(longest=False) == first
    line.finish(first, converted=False)
    assert line.done() == Load(1, 100.0)
    assert line.take(longest=False) is None


@given(st.permutations([True, False] * 4))
def test_no_song_is_taken_twice_or_forgotten(ends: list[bool]) -> None:
    jobs = [job(Path(f"nowhere/{number}.mid")) for number in range(8)]
    line = JobQueue(jobs)
    taken = [line.take(longest=longest) for longest in ends]
    assert sorted(each.relative for each in taken if each) == [each.relative for each in jobs]


@pytest.mark.parametrize(
    ("ahead", "seconds", "at_work", "foretold"),
    [
        # By hand: a song of 15,000 bytes counts as 2, so 80 of them are 160; 40 are half of that.
        (Load(40, 600_000.0), 30.0, (1.0, 1.0), Estimate(30.0)),
        (Load(20, 300_000.0), 30.0, (1.0, 1.0), Estimate(10.0)),
        # A song that weighs nothing counts as 1: 40 of 160 ahead.
        (Load(40, 0.0), 30.0, (1.0,), Estimate(10.0)),
        (Load(77, 1_155_000.0), 30.0, (1.0,), Estimate(None)),
        (Load(40, 600_000.0), 1.9, (1.0,), Estimate(None)),
        (Load(0, 0.0), 30.0, (), Estimate(None)),
        # Two are left, both much longer at work than their length lets expect: only the limit is sure.
        (Load(2, 30_000.0), 50.0, (41.0, 20.0), Estimate(40.0, at_most=True)),
        (Load(2, 30_000.0), 50.0, (41.0, 4.0), Estimate(50.0 * 4 / 156)),
        (Load(3, 45_000.0), 50.0, (41.0, 20.0), Estimate(50.0 * 6 / 154)),
    ],
)
def test_the_time_left_follows_from_what_is_done(
    ahead: Load, seconds: float, at_work: Sequence[float], foretold: Estimate
) -> None:
    done = Load(80 - ahead.songs, 1_200_000.0 - ahead.weight)
    found = estimate(done, ahead, seconds, at_work, limit=60.0)
    assert found.at_most == foretold.at_most
    assert found.seconds == pytest.approx(foretold.seconds)
