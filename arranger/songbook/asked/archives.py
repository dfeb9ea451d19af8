"""Songs in a ZIP: found by its directory, read one by one where they lie, never unpacked.

Nothing is trusted: what a member is called only becomes the name of a song, made harmless; no more is
read of it than a song may have; links, members of encrypted or damaged ZIPs cost only themselves.
"""

from __future__ import annotations

import functools
import os
import stat
import zipfile
import zlib
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import SettingsError, SongError
from arranger.song.charsets import decode

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

MOST_MEMBERS = 200_000
"""Entries that are looked at in one ZIP."""

MOST_LARGEST = 64
"""So many times the largest song may all songs of a ZIP have together, unpacked."""

NAMED = 3
"""Members that a remark names."""

_UTF8, _ENCRYPTED = 0x800, 0x1


class Member(NamedTuple):
    """Where a song is in a ZIP."""

    at: int
    """Place in the directory."""
    check: int
    """The checksum that the directory states."""
    size: int
    """Bytes, unpacked, as the directory states."""

    @property
    def stamp(self) -> str:
        """Return what changes when the song does."""
        return f"{self.check:08x}:{self.size}"


class Packed(NamedTuple):
    """What a ZIP holds."""

    members: dict[str, Member]
    """The files that are asked for, by path below the folder that was packed, with ``/``."""
    remarks: tuple[str, ...]


def is_zip(path: Path) -> bool:
    """Return whether a file is a ZIP, or called one; nothing but plain files is opened."""
    return path.is_file() and (path.suffix.lower() == ".zip" or zipfile.is_zipfile(path))


def look_into(path: Path, wanted: Callable[[str], bool], largest: int) -> Packed:
    """Return the files of a ZIP that are wanted.

    If all of them lie in one folder, that is the folder that was packed, and left out of their paths.

    ``wanted``: says of a path in it whether it is.
    ``largest``: bytes that a song may have.

    Raises `SettingsError` if it is no ZIP that can be read, or holds more than songs ever do.
    """
    try:
        with zipfile.ZipFile(path) as found:
            infos = found.infolist()
    except (zipfile.BadZipFile, OSError, NotImplementedError, ValueError) as error:
        raise SettingsError(
            f"is no ZIP that can be read: {getattr(error, 'strerror', None) or error}", file=path
        ) from error
    if len(infos) > MOST_MEMBERS:
        raise SettingsError(
            f"holds {len(infos):,} entries, more than {MOST_MEMBERS:,}",
            file=path,
            remedy="pack the songs into several ZIPs",
        )
    members: dict[str, Member] = {}
    odd: dict[str, list[str]] = {}
    for at, (info, name) in enumerate(zip(infos, _names(infos), strict=True)):
        relative, said = _read(name, info)
        if relative and (said == _NESTED or wanted(relative)):
            if relative in members:
                said = _TWICE
            if said:
                odd.setdefault(said, []).append(name)
            if said not in _LEFT_OUT:
                members[relative] = Member(at, info.CRC, info.file_size)
    _refuse_bomb(path, members.values(), largest)
    return Packed(_without_folder(members), tuple(_remarks(path, odd)))


def read_member(path: Path, member: Member, most: int) -> bytes:
    """Return the bytes of a song in a ZIP, or as many as tell that it is too large.

    Raises `SongError` if it can't be read.
    """
    try:
        return _bytes(path, member, most)
    except SongError:
        raise
    except (zipfile.BadZipFile, zlib.error, EOFError, ValueError, IndexError) as error:
        raise SongError(f"is damaged in its ZIP: {error}") from error
    except (NotImplementedError, RuntimeError) as error:
        raise SongError(f"can't be unpacked: {error}") from error
    except OSError as error:
        raise SongError(f"can't be read: {error.strerror or error}") from error


def _bytes(path: Path, member: Member, most: int) -> bytes:
    state = path.stat()
    found = _opened(path, state.st_size, state.st_mtime_ns, os.getpid())
    info = found.infolist()[member.at]
    if (info.CRC, info.file_size) != member[1:]:
        raise SongError("the ZIP changed while it was read", remedy="start the run again")
    if info.flag_bits & _ENCRYPTED:
        raise SongError("is encrypted", remedy="unpack the ZIP with its password")
    with found.open(info) as file:
        return file.read(most + 1)


@functools.lru_cache(maxsize=1)
def _opened(path: Path, _size: int, _time: int, _process: int) -> zipfile.ZipFile:
    """Keep a ZIP open from song to song, each process for itself: its directory may be long."""
    return zipfile.ZipFile(path)


def _names(infos: list[zipfile.ZipInfo]) -> list[str]:
    """Return the names of members; those that no flag says to be UTF-8 are weighed together."""
    plain = [info for info in infos if not info.flag_bits & _UTF8]
    read = iter(decode([info.orig_filename.encode("cp437") for info in plain]).texts)
    names = [info.orig_filename if info.flag_bits & _UTF8 else next(read) for info in infos]
    return [name.split("\0")[0].replace("\\", "/") for name in names]


_LINKS = "links aren't followed"
_NESTED = "ZIPs in it aren't looked into"
_OUTSIDE = "names that lead out of it are taken as if they didn't"
_TWICE = "of files that come twice the later one counts"
_LEFT_OUT = frozenset({_LINKS, _NESTED})


def _read(name: str, info: zipfile.ZipInfo) -> tuple[str, str]:
    """Return the path of a member, "" for what is no file for us, and what should be said of it."""
    parts = [part for part in name.split("/") if part not in ("", ".")]
    inside = [part for part in parts if part != ".." and not (part is parts[0] and part[1:] == ":")]
    hidden = any(part.startswith(".") for part in inside) or "__MACOSX" in inside
    if name.endswith("/") or not inside or hidden:
        return "", ""
    relative = "/".join(inside)
    if relative.lower().endswith(".zip"):
        return relative, _NESTED
    if stat.S_ISLNK(info.external_attr >> 16):
        return relative, _LINKS
    return relative, _OUTSIDE if inside != parts or name.startswith("/") else ""


def _refuse_bomb(path: Path, members: Iterable[Member], largest: int) -> None:
    whole = sum(min(member.size, largest + 1) for member in members)
    if whole > MOST_LARGEST * largest:
        raise SettingsError(
            f"its songs have {whole:,} bytes unpacked, more than {MOST_LARGEST * largest:,}",
            file=path,
            remedy="pack the songs into several ZIPs, or raise --max-file-bytes",
        )


def _without_folder(members: dict[str, Member]) -> dict[str, Member]:
    tops = {PurePosixPath(relative).parts[0] for relative in members}
    alone = len(tops) == 1 and all("/" in relative for relative in members)
    return {
        relative.partition("/")[2] if alone else relative: member
        for relative, member in members.items()
    }


def _remarks(path: Path, odd: dict[str, list[str]]) -> Iterator[str]:
    for said, names in odd.items():
        more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
        yield f"{path.name}: {said}: {', '.join(names[:NAMED])}{more}"
