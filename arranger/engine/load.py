"""Loading engines: built in by name, or a musician's own TOML file by path."""

from __future__ import annotations

import tomllib
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING

from arranger.engine.model import DrumSound, Engine
from arranger.engine.table import pitch_table, step_lengths
from arranger.errors import EngineError

if TYPE_CHECKING:
    from arranger.engine.profile import Profile

_BUILTIN = Path(__file__).parent / "builtin"


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
        A file (a sheet) in whose folder a relative path is looked for too.

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
        path = Path(beside).parent / path
    try:
        content = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "not UTF-8 text"
        raise EngineError(f"can't be read: {reason}", file=path) from error
    return parse_engine(content, file=path)


def _builtin_engine(name: str) -> Engine:
    names = builtin_engines()
    if name not in names:
        close = get_close_matches(name, names, 1)
        hint = f"did you mean {close[0]!r}?" if close else f"choose one of {', '.join(names)}"
        raise EngineError(
            f"there is no engine named {name!r}", remedy=f"{hint} (or give a path ending in .toml)"
        )
    path = _BUILTIN / f"{name}.toml"
    return parse_engine(path.read_text(encoding="utf-8"), file=path)


def parse_engine(text: str, *, file: Path | None = None) -> Engine:
    """Return the engine that a TOML text describes; ``file`` is for messages.

    Raises
    ------
    EngineError
        If the text is no valid description; says the line, the reason and what to do.
    """
    profile = _valid_profile(text, file)
    return Engine(
        name=profile.name,
        title=profile.title,
        clock_hz=profile.clock_hz,
        method=profile.method,
        pitches=pitch_table(profile),
        step_lengths=step_lengths(profile),
        drums=tuple(
            DrumSound(drum.name, drum.kind, drum.percussion_keys, drum.weight, drum.settings)
            for drum in profile.drum
        ),
        drum_takes_step=profile.drum_takes_step,
        code_bytes=profile.memory.code_bytes,
        memory_bytes=profile.memory.total_bytes,
        profile=profile,
    )


def _valid_profile(text: str, file: Path | None) -> Profile:
    # Imported here: pydantic takes a tenth of a second, and many commands end without an engine.
    from pydantic import ValidationError

    from arranger.engine.check import line_of, profile_faults, schema_faults
    from arranger.engine.profile import Profile

    try:
        profile = Profile.model_validate(tomllib.loads(text))
        faults = list(profile_faults(profile))
    except tomllib.TOMLDecodeError as error:
        raise EngineError(
            f"is no valid TOML: {error}", file=file, remedy="correct the line"
        ) from error
    except ValidationError as error:
        faults = schema_faults(error)
    if not faults:
        return profile
    line = line_of(text, faults[0].path)
    others = "" if len(faults) == 1 else f" (and {len(faults) - 1} more)"
    raise EngineError(
        faults[0].what + others,
        file=file,
        place=None if line is None else f"line {line}",
        remedy=faults[0].remedy,
    )
