"""A commented TOML file from which a musician describes a routine of their own."""

from __future__ import annotations

import re
from pathlib import Path

from arranger.errors import OutputError
from arranger.files import write_text

_TEMPLATE = Path(__file__).parent / "template.toml"


def new_engine(path: str | Path) -> None:
    """Write a commented engine file that is valid as it stands.

    The engine's name is made from the file name.

    Raises
    ------
    OutputError
        If the file exists, doesn't end in .toml, or can't be written.
    """
    path = Path(path)
    if path.suffix != ".toml":
        raise OutputError("is no TOML file by its name", file=path, remedy="end the name in .toml")
    if path.exists():
        raise OutputError("exists already", file=path, remedy="choose another name")
    words = re.sub(r"[^a-z0-9]+", "-", path.stem.lower()).strip("-")[:40].strip("-")
    name = words if re.match("[a-z]", words) and words != "new" else f"my-{words}"[:40].strip("-")
    write_text(path, _TEMPLATE.read_text(encoding="utf-8").replace("@NAME@", name))
