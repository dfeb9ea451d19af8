"""Names of a package that are looked up when they are first used, so that importing it costs little."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping


def looked_up(package: str, modules: Mapping[str, str]) -> Callable[[str], object]:
    """Return a package's ``__getattr__``.

    ``package``: its full name.
    ``modules``: the module of the package in which each name is.
    """

    def find(name: str) -> object:
        if name not in modules:
            message = f"module {package!r} has no attribute {name!r}"
            raise AttributeError(message)
        return getattr(import_module(f"{package}.{modules[name]}"), name)

    return find
