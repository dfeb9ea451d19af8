"""Which parts of a song a user means: by number, by name, or by a pattern that may fit several."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from arranger.errors import SettingsError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from arranger.settings import ReduceSettings
    from arranger.song.model import Song


def asked_parts(song: Song, asked: str | None, option: str) -> tuple[int, ...]:
    """Return the indices of the parts that may have a role.

    ``asked``: as in `parts_named`; None for nothing asked. What isn't a pattern must mean one part.
    ``option``: the option's spelling, for the message.

    Raises `SettingsError` if no part answers to it, or more than one and it is no pattern; the
    message lists the parts.
    """
    if asked is None:
        return ()
    found = parts_named(song, asked, option)
    if len(found) > 1 and not is_pattern(asked):
        raise SettingsError(
            f"{option} {asked!r}: {len(found)} parts have this in the name",
            remedy=f"write '*{asked}*' for the likeliest of them; {_choices(song, option)}",
        )
    return found


def parts_named(song: Song, asked: str, option: str) -> tuple[int, ...]:
    """Return the indices of the parts of a number or a name, at least one.

    A name is in any case: a whole name, else a pattern with ``*`` (anything) and ``?`` (any character),
    else a piece of names.

    Raises `SettingsError` if no part answers to it; the message lists the parts.
    """
    if asked.strip().isdecimal():
        number = int(asked)
        if 1 <= number <= len(song.parts):
            return (number - 1,)
        raise SettingsError(
            f"{option} {asked}: there is no part {number}", remedy=_choices(song, option)
        )
    wanted = asked.strip().casefold()
    names = {part.index: part.name.strip().casefold() for part in song.parts}
    found = [part for part, name in names.items() if name == wanted]
    if not found and is_pattern(wanted):
        fits = re.compile(_pattern(wanted), re.DOTALL).fullmatch
        found = [part for part, name in names.items() if fits(name)]
    elif not found:
        found = [part for part, name in names.items() if wanted and wanted in name]
    if not found:
        fault = "fits" if is_pattern(wanted) else "has"
        what = "the pattern" if is_pattern(wanted) else "this in the name"
        raise SettingsError(
            f"{option} {asked!r}: no part {fault} {what}", remedy=_choices(song, option)
        )
    return tuple(found)


def is_pattern(asked: str) -> bool:
    """Return whether a name may mean several parts on purpose."""
    return "*" in asked or "?" in asked


def remarks_on_names(song: Song, settings: ReduceSettings) -> Iterator[str]:
    """Yield a remark on each name that means several parts, though it isn't said that all are meant.

    Raises `SettingsError` if one means none, or a role is asked for by a name that means several.
    """
    for option, asked in (("--tune", settings.tune), ("--bass", settings.bass)):
        asked_parts(song, asked, option)
    for asked in settings.mute:
        found = parts_named(song, asked, "--mute")
        if len(found) > 1 and not is_pattern(asked):
            listed = _listed(song, found)
            yield f"mute {asked!r} means {len(found)} parts, {listed}: '*{asked}*' says all of them"


def _pattern(name: str) -> str:
    return "".join({"*": ".*", "?": "."}.get(each, re.escape(each)) for each in name)


def _choices(song: Song, option: str) -> str:
    return f"{option} takes one of: {_listed(song, range(len(song.parts)))}"


def _listed(song: Song, parts: tuple[int, ...] | range, limit: int = 24) -> str:
    shown = [f"{part + 1} {song.parts[part].name!r}" for part in parts[:limit]]
    if len(parts) > limit:
        shown.append(f"… ({len(parts)} parts)")
    return ", ".join(shown) or "(the song has no parts)"
