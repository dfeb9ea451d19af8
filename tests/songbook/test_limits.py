"""The memory limit: what it stops, and that it is gone afterwards, also where two overlap."""

from __future__ import annotations

import resource

import pytest

from arranger.songbook.limits import memory_limit


def address_space() -> tuple[int, int]:
    return resource.getrlimit(resource.RLIMIT_AS)


def test_what_takes_more_memory_fails_and_the_process_goes_on() -> None:
    before = address_space()
    with memory_limit(100), pytest.raises(MemoryError):
        bytearray(400_000_000)
    assert address_space() == before
    assert len(bytearray(400_000_000)) == 400_000_000


def test_limits_that_end_in_the_order_they_began_leave_the_process_as_it_was() -> None:
    before = address_space()
    first, second = memory_limit(200), memory_limit(300)
    first.__enter__()
    alone = address_space()[0]
    second.__enter__()
    assert address_space()[0] == alone + 300_000_000
    first.__exit__(None, None, None)
    assert address_space()[0] == alone + 100_000_000
    second.__exit__(None, None, None)
    assert address_space() == before
