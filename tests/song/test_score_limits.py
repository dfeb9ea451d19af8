"""What a reader of scores allows itself, in numbers; here it must not limit the tests' own process."""

from __future__ import annotations

import io
import sys
from pathlib import Path
from types import SimpleNamespace
from xml.etree.ElementTree import ParseError

import pytest
from music21.exceptions21 import Music21Exception

from arranger.errors import ArrangerError, LimitError
from arranger.settings import ReadSettings
from arranger.song.score import process, worker
from arranger.song.score.process import Request
from tests.song.test_scores import COLLECTION

INFINITE = -1


class Limits(SimpleNamespace):
    """The limits of a process: the soft ones may be set up to the hard ones."""

    RLIM_INFINITY, RLIMIT_AS, RLIMIT_CPU, RUSAGE_SELF = INFINITE, 9, 0, 0

    def __init__(self, soft: int, hard: int) -> None:
        super().__init__(now=(soft, hard), told=[])

    def getrlimit(self, _kind: int) -> tuple[int, int]:
        return self.now

    def setrlimit(self, kind: int, limits: tuple[int, int]) -> None:
        self.now = limits
        self.told.append((kind, limits))

    def getrusage(self, _who: int) -> tuple[float, ...]:
        return (1.25, 2.5, 99.0)


@pytest.mark.parametrize(("hard", "soft"), [(INFINITE, 15), (20, 15), (15, 15), (12, 12)])
def test_a_reader_has_so_many_seconds_more_than_it_spent(
    hard: int, soft: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two more besides, since it is ended by the clock before; 1.25 and 2.5 were spent."""
    limits = Limits(INFINITE, hard)
    monkeypatch.setattr(worker, "_resource", lambda: limits)
    worker._limit_processor_time(10.0)
    assert limits.told == [(limits.RLIMIT_CPU, (soft, hard))]


@pytest.mark.parametrize(
    ("outer", "hard", "total", "allowed"),
    [
        (None, INFINITE, 1500, 500),
        (INFINITE, INFINITE, 1500, 500),
        (1200, INFINITE, 1200, 200),
        (9000, 1100, 1100, 100),
        (9000, 9000, 1500, 500),
        (900, INFINITE, 900, 0),
    ],
)
def test_a_reader_has_so_much_memory_more_than_it_uses(
    outer: int | None, hard: int, total: int, allowed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    limits = Limits(8000, hard)
    monkeypatch.setattr(worker, "_resource", lambda: limits)
    monkeypatch.setattr(worker, "address_space", lambda: 1000)
    with worker._memory_limit(500, outer) as found:
        assert found == allowed
        assert limits.told == [(limits.RLIMIT_AS, (total, hard))]
    assert limits.now == (8000, hard), "as before"
    monkeypatch.setattr(worker, "_resource", lambda: None)
    with worker._memory_limit(500, outer) as found:
        assert found == 500


def test_memory_is_counted_in_bytes() -> None:
    said = {
        key: int(value.split()[0]) * 1024
        for key, _, value in (
            line.partition(":") for line in Path("/proc/self/status").read_text().splitlines()
        )
        if key in {"VmSize", "VmRSS"}
    }
    assert worker.address_space() == pytest.approx(said["VmSize"], rel=0.02)
    assert worker.resident() == pytest.approx(said["VmRSS"], rel=0.05)


def answer(
    monkeypatch: pytest.MonkeyPatch, error: Exception | None, *, allowed: int = 10**9
) -> str:
    """Return what a reader says of a score on which music21 fails."""

    def fail(*_: object) -> None:
        if error is not None:
            raise error

    limits = Limits(INFINITE, allowed)
    monkeypatch.setattr(worker, "_resource", lambda: limits)
    monkeypatch.setattr(worker, "address_space", lambda: 0)
    monkeypatch.setattr("arranger.song.score.reading.read_score", fail)
    settings = ReadSettings(score_megabytes=1000)
    found = worker._answer(Request(COLLECTION, "a.abc", "", settings, None))
    assert isinstance(found, ArrangerError)
    return str(found)


def chained(error: Exception, cause: Exception, *, handling: bool) -> Exception:
    if handling:
        error.__context__ = cause
    else:
        error.__cause__ = cause
    return error


def test_a_reader_tells_why_a_score_cannot_be_read(monkeypatch: pytest.MonkeyPatch) -> None:
    for error, told in (
        (LimitError("too many"), "too many"),
        (Music21Exception("no clef\nat all"), "the score can't be read: no clef; check it"),
        (ParseError("line 3"), "the score can't be read: line 3; check it"),
        (Music21Exception(" "), "it holds what music21 doesn't expect"),
        (KeyError("stream"), "it holds what music21 doesn't expect"),
    ):
        assert told in answer(monkeypatch, error)
    for handling in (True, False):
        for error in (
            MemoryError(),
            chained(ValueError("x"), MemoryError(), handling=handling),
            chained(
                KeyError("x"),
                chained(ValueError(), ParseError("out of memory: 1"), handling=True),
                handling=handling,
            ),
        ):
            told = answer(monkeypatch, error)
            assert "takes more than 1,000 megabytes of memory" in told
            assert "raise the limit with --score-megabytes, or export" in told
    less = answer(monkeypatch, MemoryError(), allowed=99_000_000)
    assert "takes more than 99 megabytes of memory; allow it more, or export" in less


def test_the_limit_from_outside_is_the_soft_one(monkeypatch: pytest.MonkeyPatch) -> None:
    for soft, told in ((INFINITE, None), (777, 777)):
        limits = Limits(soft, 999)
        monkeypatch.setitem(sys.modules, "resource", limits)
        assert process._address_space_limit() == told


def test_what_is_sent_is_received_whole_and_up_to_a_limit() -> None:
    stream = io.BytesIO()
    process.send(stream, ("a value", 1))
    sent = stream.getvalue()
    size = len(sent) - 8
    assert int.from_bytes(sent[:8]) == size
    for most in (None, size):
        assert process.receive(io.BytesIO(sent + b"more"), most) == ("a value", 1)
    with pytest.raises(LimitError, match=f"larger than {size - 1} bytes"):
        process.receive(io.BytesIO(sent), size - 1)
    for cut in (0, 7, len(sent) - 1):
        with pytest.raises(EOFError):
            process.receive(io.BytesIO(sent[:cut]))
