"""Loading engines: built in by name, or a musician's own TOML file by path."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from arranger.engine.layout import full_layout
from arranger.engine.model import DrumSound, Engine
from arranger.engine.pitch_table import in_tune, pitch_table, step_lengths
from arranger.engine.profile import profile_of
from arranger.errors import EngineError, did_you_mean

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from arranger.engine.model import Pitch
    from arranger.engine.profile import Profile
    from arranger.engine.profile_check import ProfileFault

_BUILTIN = Path(__file__).parent / "builtin"

MAX_BYTES = 1_000_000
"""A larger file is not read: the largest description one could write has a tenth of that."""


def builtin_engines() -> tuple[str, ...]:
    """Return the names of the engines that come with the program, sorted."""
    return tuple(sorted(path.stem for path in _BUILTIN.glob("*.toml")))


def load_engine(name_or_path: str | Path, *, beside: str | Path | None = None) -> Engine:
    """Return the engine of a name, or of the TOML file at a path.

    Parameters
    ----------
    name_or_path
        Whatever ends in ``.toml`` or contains a path separator is a path.
    beside
        A file (a sheet): a relative path is also looked for in its folder and those above, so that
        a sheet can be played from anywhere.

    Raises
    ------
    EngineError
        If there is no such engine, or its file is not valid.
    """
    text = str(name_or_path)
    if not (isinstance(name_or_path, Path) or text.endswith(".toml") or Path(text).name != text):
        return _builtin_engine(text)
    path = Path(text)
    if beside is not None and not path.exists():
        candidates = (folder / path for folder in Path(beside).absolute().parents)
        path = next((found for found in candidates if found.is_file()), path)
    try:
        with path.open("rb") as source:
            content = source.read(MAX_BYTES + 1)
        if len(content) > MAX_BYTES:
            raise EngineError(
                f"is larger than {MAX_BYTES:,} bytes", file=path, remedy="is it an engine file?"
            )
        text = content.decode("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "not UTF-8 text"
        raise EngineError(f"can't be read: {reason}", file=path, remedy="check the name") from error
    return parse_engine(text, file=path)


@cache
def _builtin_engine(name: str) -> Engine:
    """Return an engine that comes with the program; it is known to be right, so nothing is checked."""
    profile = profile_of(tomllib.loads(builtin_text(name)))
    return _engine(profile, pitch_table(profile))


def builtin_text(name: str) -> str:
    """Return the TOML text of an engine that comes with the program.

    Raises `EngineError` if there is none of that name.
    """
    names = builtin_engines()
    if name not in names:
        hint = did_you_mean(name, names, f"choose one of {', '.join(names)}")
        raise EngineError(
            f"there is no engine named {name!r}", remedy=f"{hint} (or give a path ending in .toml)"
        )
    return (_BUILTIN / f"{name}.toml").read_text(encoding="utf-8")


def parse_engine(text: str, *, file: Path | None = None) -> Engine:
    """Return the engine that a TOML text describes; ``file`` is for messages.

    Raises
    ------
    EngineError
        If the text is no valid description; says the line, the reason and what to do.
    """
    # Imported here: pydantic takes a tenth of a second.
    from arranger.engine.layout_check import layout_faults
    from arranger.engine.profile_check import profile_faults, table_faults

    profile = _profile(text, file)
    _refuse(profile_faults(profile), text, file)
    described = pitch_table(profile)
    _refuse(table_faults(profile, described), text, file)
    _refuse(layout_faults(profile, in_tune(described)), text, file)
    if profile.player:
        from arranger.engine.player_check import player_faults

        _refuse(player_faults(profile, in_tune(described)), text, file)
    return _engine(profile, described)


def _engine(profile: Profile, described: Mapping[int, Pitch]) -> Engine:
    pitches = in_tune(described)
    return Engine(
        name=profile.name,
        title=profile.title,
        clock_hz=profile.clock_hz,
        method=profile.method,
        pitches=pitches,
        left_out=tuple(entry for midi, entry in described.items() if midi not in pitches),
        step_lengths=step_lengths(profile),
        drums=tuple(
            DrumSound(drum.name, drum.percussion_keys, drum.weight, drum.parts, drum.joins)
            for drum in profile.drum
        ),
        drum_takes_step=profile.drum_takes_step,
        code_bytes=profile.memory.code_bytes,
        memory_bytes=profile.memory.total_bytes,
        profile=profile,
    )


def _profile(text: str, file: Path | None) -> Profile:
    """Return the profile that a text holds, as far as the schema knows it to be right."""
    from pydantic import ValidationError

    from arranger.engine.profile_check import schema_faults
    from arranger.engine.schema import profile_schema

    try:
        values = full_layout(tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        what = f"is no valid TOML: {error}"
        raise EngineError(what, file=file, remedy="correct the line") from error
    except RecursionError:
        raise EngineError("is nested too deeply", file=file, remedy="flatten it") from None
    try:
        return profile_of(profile_schema().model_validate(values).model_dump(exclude_unset=True))
    except ValidationError as error:
        _refuse(schema_faults(error), text, file)
        raise


def _refuse(faults: Iterable[ProfileFault], text: str, file: Path | None) -> None:
    """Raise an `EngineError` about the first of the faults, if there are any."""
    from arranger.engine.profile_check import line_of

    found = list(faults)
    if not found:
        return
    line = line_of(text, found[0].path)
    others = "" if len(found) == 1 else f" (and {len(found) - 1} more)"
    raise EngineError(
        found[0].what + others,
        file=file,
        place=None if line is None else f"line {line}",
        remedy=found[0].remedy,
    )
