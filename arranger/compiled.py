"""Compiled modules, which are optional: where one is missing, numpy or Python does the same.

One that was built from another source than the one beside it, as after an update that nobody installed
anew, counts as missing: what it takes and what it finds may be something else. So each source in C says
as ``SOURCE`` a checksum of its other lines, and so does the module that uses it.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any


def compiled(name: str, source: str) -> Any:
    """Return a compiled module; None if there is none, or one that wasn't built from this source."""
    try:
        module = import_module(name)
    except ImportError:  # no compiler where this was installed
        return None
    return module if module.__doc__ == source else None
