"""The versions of a sheet: a value, and how it is packed into the bytes of its history file.

A version is what stood in the sheet's file, to the byte, and knows the one that it came after. So
they are a tree: an edit after an undo begins a branch, and the versions that had been taken back
stay where they were. Numbers only rise.

The newest version is packed whole, every other as a change of the next one: the oldest can be
dropped without a look at the rest. A change is runs of the other text's lines, and lines of its own
between; lines are bytes up to and with their end, so that any bytes at all come back as they were.
"""

from __future__ import annotations

import hashlib
import json
import zlib
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterator


def delta(base: bytes, target: bytes) -> bytes:
    """Return what makes ``target`` of ``base``; `applied` is the way back."""
    known: dict[bytes, int] = {}
    lines = base.splitlines(keepends=True)
    for place, line in enumerate(lines):
        known.setdefault(line, place)
    runs = [[0, 0, 0]]  # first line of the base, lines from there, bytes of its own that follow
    own: list[bytes] = []
    at = 0
    for line in target.splitlines(keepends=True):
        place = at if lines[at : at + 1] == [line] else known.get(line, -1)
        if place < 0:
            own.append(line)
            runs[-1][2] += len(line)
            at += 1  # a line was changed, and the next ones go on as they were: so it is mostly
            continue
        if sum(runs[-1][:2]) != place or runs[-1][2]:
            runs.append([place, 0, 0])
        runs[-1][1] += 1
        at = place + 1
    return json.dumps(runs, separators=(",", ":")).encode() + b"\n" + b"".join(own)


def applied(base: bytes, change: bytes, length: int) -> bytes:
    """Return the text of which `delta` made a change.

    ``base``: the text that the change was made for.
    ``change``: what `delta` returned.
    ``length``: bytes of the result.

    Raises `ValueError` and `TypeError` if that can't be what `delta` returned.
    """
    head, _, own = change.partition(b"\n")
    lines = base.splitlines(keepends=True)
    pieces: list[bytes] = []
    used = left = 0
    for first, count, more in json.loads(head):
        run = lines[first : first + count]
        pieces += [*run, own[used : used + more]]
        used += more
        left += sum(map(len, run)) + more
        if left > length:  # before a damaged one fills the memory
            raise ValueError
    return b"".join(pieces)


MOST_VERSIONS = 200
MOST_BYTES = 1_000_000
"""Of the file. Where there would be more, the oldest versions go."""

_HEAD = b"arranger-history 1 "
_ENTRY_BYTES = 400
"""At most so many for what is said of a version beside its content."""
_LONGEST_WORD = 40


class DamagedError(Exception):
    """Bytes that aren't a history as this version of the program writes it."""


class TooLargeError(Exception):
    """A version that doesn't fit into a history by itself."""


class Version(NamedTuple):
    """One version of a sheet."""

    number: int
    before: int
    """The number of the version that it came after; 0, or of one that is gone: none is known."""
    seconds: int
    """When it was written, since 1970."""
    by: str
    """The command that wrote it."""
    length: int
    """In bytes."""
    digest: str


@dataclass(frozen=True, slots=True)
class History:
    """The versions of a sheet, oldest first. Without any: nothing is known yet."""

    versions: tuple[Version, ...] = ()
    packed: tuple[bytes, ...] = ()
    """The content of each."""
    now: int = 0
    """The number of the version that stood in the file when it was last looked at."""
    tip: int = 0
    """The version to which redo leads: `now`, or one that came after it."""

    def version(self, number: int) -> Version | None:
        """Return a version; None if there is none of that number."""
        return next((each for each in self.versions if each.number == number), None)

    def stands(self, content: bytes) -> bool:
        """Return whether a content is what last stood in the file."""
        found = self.version(self.now)
        return found is not None and found.digest == _digest(content)

    @property
    def is_put_back(self) -> bool:
        """Whether what last stood in the file isn't the newest version."""
        return bool(self.versions) and self.now != self.versions[-1].number


def noted(history: History, content: bytes, seconds: int, by: str) -> History:
    """Return the history with what stands in the file now; as it is, if that is known.

    Raises `TooLargeError` if that doesn't fit.
    """
    if history.stands(content):
        return history
    whole = zlib.compress(content)
    if len(whole) + _ENTRY_BYTES > MOST_BYTES:
        raise TooLargeError
    number = history.versions[-1].number + 1 if history.versions else 1
    version = Version(
        number, history.now, seconds, by[:_LONGEST_WORD], len(content), _digest(content)
    )
    packed = list(history.packed)
    if packed:
        last = content_of(history, history.versions[-1].number)
        packed[-1] = zlib.compress(delta(content, last))
    return _bounded(History((*history.versions, version), (*packed, whole), now=number, tip=number))


def _bounded(history: History) -> History:
    left, packed = list(history.versions), list(history.packed)
    size = sum(map(len, packed)) + _ENTRY_BYTES * len(packed)
    gone = 0
    while len(left) - gone > MOST_VERSIONS or size > MOST_BYTES:
        size -= len(packed[gone]) + _ENTRY_BYTES
        gone += 1
    return replace(history, versions=tuple(left[gone:]), packed=tuple(packed[gone:]))


def content_of(history: History, number: int) -> bytes:
    """Return what stood in the file as some version.

    Raises `DamagedError` if the history doesn't hold what it says; `LookupError` if there is no
    such version.
    """
    for version, content in contents(history):
        if version.number == number:
            return content
    raise LookupError(number)


def contents(history: History) -> Iterator[tuple[Version, bytes]]:
    """Yield each version with what stood in the file, the newest first.

    Raises `DamagedError` if the history doesn't hold what it says.
    """
    content: bytes | None = None
    for version, packed in zip(reversed(history.versions), reversed(history.packed), strict=True):
        try:
            if content is None:
                content = _unpacked(packed, version.length)
            else:
                change = _unpacked(packed, 64 * (version.length + 1))
                content = applied(content, change, version.length)
        except (ValueError, TypeError, zlib.error) as error:
            raise DamagedError from error
        if _digest(content) != version.digest:
            raise DamagedError
        yield version, content


def _unpacked(packed: bytes, most: int) -> bytes:
    return zlib.decompressobj().decompress(packed, max(most, 1))


def before(history: History, number: int | None = None) -> tuple[Version, ...]:
    """Return the versions that led to one (None: the one that stands), the nearest first."""
    by_number = {version.number: version for version in history.versions}
    found: list[Version] = []
    at = by_number.get(history.now if number is None else number)
    while at is not None and (at := by_number.get(at.before)) is not None:
        found.append(at)
    return tuple(found)


def after(history: History) -> tuple[Version, ...]:
    """Return the versions from the one that stands to where redo leads, the nearest first."""
    led = (history.tip, *(version.number for version in before(history, history.tip)))
    if history.now not in led:
        return ()
    way = led[: led.index(history.now)]
    return tuple(version for version in history.versions if version.number in way)


def moved(history: History, number: int) -> History:
    """Return the history with another version standing.

    Redo goes on leading where it led, if that is possible from there; else to the newest version
    that came after the one that stands now.
    """
    found = replace(history, now=number)
    if number == found.tip or after(found):
        return found
    reached = {number}
    for version in history.versions:
        if version.before in reached:
            reached.add(version.number)
    return replace(found, tip=max(reached))


def pack_history(history: History) -> bytes:
    """Return the history as the bytes of a file."""
    listed = [
        [*version, len(packed)]
        for version, packed in zip(history.versions, history.packed, strict=True)
    ]
    said = {"now": history.now, "tip": history.tip, "versions": listed}
    rest = b"\n".join((json.dumps(said, separators=(",", ":")).encode(), b"".join(history.packed)))
    return _HEAD + _digest(rest).encode() + b"\n" + rest


def unpack_history(content: bytes) -> History:
    """Return the history that `pack_history` made bytes of.

    Raises `DamagedError` if it made no such bytes.
    """
    head, _, rest = content.partition(b"\n")
    if head != _HEAD + _digest(rest).encode():
        raise DamagedError
    line, _, bodies = rest.partition(b"\n")
    packed: list[bytes] = []
    used = 0
    try:
        said = json.loads(line)
        for *_, size in said["versions"]:
            packed.append(bodies[used : used + size])
            used += size
        versions = tuple(Version(*entry[:-1]) for entry in said["versions"])
        found = History(versions, tuple(packed), said["now"], said["tip"])
    except (ValueError, TypeError, LookupError) as error:
        raise DamagedError from error
    if not _is_whole(found):
        raise DamagedError
    return found


def _is_whole(history: History) -> bool:
    """Return whether a history is one that `noted` and `moved` may make."""
    kinds = (int, int, int, str, int, str)
    versions = history.versions
    if any(tuple(map(type, version)) != kinds for version in versions):
        return False
    numbers = [version.number for version in versions] or [0]
    rising = numbers == sorted(set(numbers)) and all(v.before < v.number for v in versions)
    return rising and history.now in numbers and history.tip in numbers


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()
