"""Building pages: assets of the package, put into one HTML document."""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, NamedTuple

from arranger.errors import one_line

if TYPE_CHECKING:
    from jinja2 import Environment


class Script(NamedTuple):
    """A page's script, as one text."""

    text: str
    digest: str
    """Base64 of its SHA-256, as a content security policy names it."""

    @classmethod
    @cache
    def of(cls, names: tuple[str, ...]) -> Script:
        """Return the scripts of the package as one strict function, so that nothing is global."""
        body = "\n".join(asset(name) for name in names)
        text = f'(() => {{\n"use strict";\n{body}}})();'
        return cls(text, base64.b64encode(hashlib.sha256(text.encode()).digest()).decode())


@cache
def asset(name: str) -> str:
    """Return one of the pages' files as text."""
    return files("arranger.report").joinpath("page", name).read_text(encoding="utf-8")


def embedded(text: str) -> str:
    """Return JSON so that it may stand inside a script element, whatever it carries.

    Only ``<`` can end a script element or open a comment in one (HTML Standard, "Restrictions for
    contents of script elements"), so it is written as an escape of JSON.
    """
    return text.replace("<", "\\u003c")


def rendered(template: str, **values: Any) -> str:
    """Return a template filled in; ``data``, ``live``, ``style``, ``script`` go in as they are."""
    from markupsafe import Markup

    for name in {"data", "live", "style", "script"} & values.keys():
        # Built by `embedded` or read from the package: what a file says can't get in unescaped.
        values[name] = Markup(values[name])  # noqa: S704
    return _environment().get_template(template).render(values)


@cache
def _environment() -> Environment:
    from jinja2 import Environment, FunctionLoader, StrictUndefined

    environment = Environment(
        loader=FunctionLoader(asset),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    environment.filters["one_line"] = one_line
    return environment
