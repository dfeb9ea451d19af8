"""A commented TOML file from which a musician describes a routine of their own."""

from __future__ import annotations

import re
from pathlib import Path

from arranger.engine.load import builtin_text
from arranger.errors import OutputError
from arranger.files import STDOUT, write_text

_TEMPLATE = Path(__file__).parent / "template.toml"
_NAME = re.compile(r'^name = ".*"$', re.MULTILINE)


def new_engine(path: str | Path, *, like: str | None = None) -> None:
    """Write an engine file to change; it is valid as it stands.

    The engine's name is made from the file name.

    ``path``: the file to write; it must not exist. ``-``: standard output.
    ``like``: begin with the description of this built-in engine; None: with a small one that
    explains every key.

    Raises `OutputError` if the file exists, doesn't end in .toml, or can't be written;
    `EngineError` if there is no built-in engine of that name.
    """
    path = Path(path)
    if path != STDOUT and path.suffix != ".toml":
        raise OutputError("is no TOML file by its name", file=path, remedy="end the name in .toml")
    if path.exists():
        raise OutputError("exists already", file=path, remedy="choose another name")
    text = _TEMPLATE.read_text(encoding="utf-8") if like is None else builtin_text(like)
    words = re.sub(r"[^a-z0-9]+", "-", path.stem.lower()).strip("-")[:40].strip("-")
    name = words if re.match("[a-z]", words) and words != "new" else f"my-{words}"[:40].strip("-")
    write_text(path, _NAME.sub(f'name = "{name}"', text, count=1))
