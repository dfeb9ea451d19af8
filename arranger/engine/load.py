"""Loading engines: built in by name, or a musician's own TOML file by path."""

from __future__ import annotations

import tomllib
from pathlib import Path

from arranger.engine.model import DrumSound, Engine
from arranger.errors import EngineError

_BUILTIN = Path(__file__).parent / "builtin"


def builtin_engines() -> tuple[str, ...]:
    """Return the names of the engines that come with the program, sorted."""
    return tuple(sorted(path.stem for path in _BUILTIN.glob("*.toml")))


def load_engine(name_or_path: str | Path) -> Engine:
    """Return the engine of a name, or of the TOML file at a path.

    Whatever ends in ``.toml`` or contains a path separator is a path.

    Raises
    ------
    EngineError
        If there is no such engine, or its file is not valid.
    """
    text = str(name_or_path)
    if isinstance(name_or_path, str) and text in builtin_engines():
        path = _BUILTIN / f"{text}.toml"
    elif text.endswith(".toml") or Path(text).name != text:
        path = Path(text)
    else:
        raise EngineError(
            f"there is no engine named {text!r}",
            remedy=f"choose one of {', '.join(builtin_engines())}, or give the path of a .toml file",
        )
    try:
        content = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "not UTF-8 text"
        raise EngineError(f"can't be read: {reason}", file=path) from error
    return parse_engine(content, file=path)


def parse_engine(content: str, *, file: Path | None = None) -> Engine:
    """Return the engine that a TOML text describes; ``file`` is for messages."""
    # Imported here: pydantic takes a tenth of a second, and most commands start without an engine.
    from pydantic import ValidationError

    from arranger.engine.profile import Profile
    from arranger.engine.table import pitch_table, step_lengths

    try:
        profile = Profile.model_validate(tomllib.loads(content))
        pitches = pitch_table(profile)
    except tomllib.TOMLDecodeError as error:
        raise EngineError(f"is no valid TOML: {error}", file=file) from error
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"])
        raise EngineError(first["msg"], file=file, place=place) from error
    except ValueError as error:
        raise EngineError(str(error), file=file) from error
    return Engine(
        name=profile.name,
        title=profile.title,
        clock_hz=profile.clock_hz,
        method=profile.method,
        pitches=pitches,
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
