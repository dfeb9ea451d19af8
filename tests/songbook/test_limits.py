"""The memory limit: what it stops, and that it is gone afterwards."""

from __future__ import annotations

import resource

import pytest

from arranger.songbook.working.work import memory_limit


def address_space() -> tuple[int, int]:
    return resource.getrlimit(resource.RLIMIT_AS)


def test_what_takes_more_memory_fails_and_the_process_goes_on() -> None:
    before = address_space()
    with memory_limit(100), pytest.raises(MemoryError):
        bytearray(400_000_000)
    assert address_space() == before
    assert len(bytearray(400_000_000)) == 400_000_000
