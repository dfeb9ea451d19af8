"""Building pages: assets of the package, put into one HTML document."""

from __future__ import annotations

import base64
import hashlib
import re
import zlib
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, NamedTuple

from arranger.errors import one_line

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from jinja2 import Environment


_COMMENT_LINES = re.compile(r"^ *//.*\n", re.MULTILINE)

_LEVEL = 2
"""Of zlib, for data: higher ones take several times as long for a sixth less."""

_BEST = 9
"""Of zlib, for what is packed once."""

_WHOLE = 3 * 8192
"""Bytes encoded at once; base64 joins without padding where they are a multiple of 3."""


class Script(NamedTuple):
    """A page's script, as one text."""

    text: str
    digest: str
    """Base64 of its SHA-256, as a content security policy names it."""

    @classmethod
    @cache
    def of(cls, names: tuple[str, ...]) -> Script:
        """Return the scripts of the package as one strict function, so that nothing is global.

        Lines that are comments stay behind: they would be a tenth of a short song's page.
        """
        body = _COMMENT_LINES.sub("", "\n".join(asset(name) for name in names))
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


@cache
def packed_script(script: Script) -> str:
    """Return a script packed as small as can be; see `packed`."""
    return "".join(packed([script.text], _BEST))


def packed(pieces: Iterable[str], level: int = _LEVEL) -> Iterator[str]:
    """Yield texts joined, as base64 of raw deflate (RFC 1951, RFC 4648), piece by piece.

    ``page/boot.js`` unpacks it. Nothing in it can be taken for markup.
    """
    deflate = zlib.compressobj(level, zlib.DEFLATED, -zlib.MAX_WBITS)
    waiting = b""
    for piece in pieces:
        waiting += deflate.compress(piece.encode("utf-8", "backslashreplace"))
        whole = len(waiting) // _WHOLE * _WHOLE
        if whole:
            yield base64.b64encode(waiting[:whole]).decode()
            waiting = waiting[whole:]
    yield base64.b64encode(waiting + deflate.flush()).decode()


def rendered(template: str, **values: Any) -> str:
    """Return a template filled in; data, live, style, script and program go in as they are."""
    from markupsafe import Markup

    for name in {"data", "other", "live", "style", "script", "program"} & values.keys():
        # Made by `embedded` or `packed`, or read from the package: no file gets in unescaped.
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
