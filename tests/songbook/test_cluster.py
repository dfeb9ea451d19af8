"""The same book on a real Dask scheduler with two worker processes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from arranger.errors import SettingsError
from arranger.settings import Settings
from arranger.songbook import BookChoice, convert_book
from tests.songbook.songs import write_book

if TYPE_CHECKING:
    from pathlib import Path


@pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::ResourceWarning")
def test_a_cluster_gives_the_same_records_as_this_machine(tmp_path: Path) -> None:
    from distributed import LocalCluster

    write_book(tmp_path / "songs", 5)
    (tmp_path / "songs" / "bad.mid").write_bytes(b"MThd")
    here = convert_book(
        BookChoice(sources=(tmp_path / "songs",), out=tmp_path / "here", settings=Settings())
    )
    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=":0"
    ) as cluster:
        there = convert_book(
            BookChoice(
                sources=(tmp_path / "songs",),
                out=tmp_path / "there",
                settings=Settings(),
                cluster=cluster.scheduler_address,
            )
        )
    assert there.records == here.records
    assert len(there.failed) == 1


def test_a_cluster_that_is_not_there_is_one_clear_error(tmp_path: Path) -> None:
    write_book(tmp_path / "songs", 1)
    with pytest.raises(SettingsError, match="no cluster answers"):
        convert_book(
            BookChoice(
                sources=(tmp_path / "songs",),
                out=tmp_path / "out",
                settings=Settings(),
                cluster="tcp://127.0.0.1:9",
            )
        )
