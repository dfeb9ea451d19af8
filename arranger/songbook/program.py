"""What the program itself puts into the outputs of a songbook, as digests."""

from __future__ import annotations

import hashlib
import tomllib
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from arranger.engine.load import builtin_engines, builtin_text

if TYPE_CHECKING:
    from collections.abc import Iterator


class Program(NamedTuple):
    """Digests of the program, as far as it can change what comes out."""

    converts: str
    """Of what makes sheets of songs."""
    writes: str
    """Of that, and what writes ledgers, pages and sound."""


def program() -> Program:
    """Return the digests of the program as it is installed."""
    found = hashlib.sha256()
    for path in _sources(Path(str(files("arranger")))):
        found.update(path.read_bytes())
    return Program(found.hexdigest(), found.hexdigest())


def engine_digest(engine: str) -> str:
    """Return a digest of what an engine's file says; "" if it can't be read."""
    try:
        text = builtin_text(engine) if engine in builtin_engines() else Path(engine).read_text()
        said = repr(tomllib.loads(text))
    except (OSError, ValueError):
        return ""
    return hashlib.sha256(said.encode("utf-8", "surrogatepass")).hexdigest()


def _sources(package: Path) -> Iterator[Path]:
    return (path for path in sorted(package.rglob("*")) if path.suffix in {".py", ".npz", ".npy"})
