"""The page of one song: self-contained HTML that opens from disk and needs no network.

The notes are embedded as columns of JSON, and the page's own scripts draw them; the templates hold
only what stands still. Everything that comes from a file is escaped: by jinja2 in the markup, by
`embedded` inside the script element.
"""

from __future__ import annotations

import json
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from arranger.report.account import account
from arranger.report.summary import summary

if TYPE_CHECKING:
    from jinja2 import Environment

    from arranger.pipeline import Conversion


def html_page(conversion: Conversion) -> str:
    """Return the page of a conversion as one HTML document."""
    template = _environment().get_template("song.html")
    return template.render(data=embedded(_data(conversion)), summary=summary(conversion))


def embedded(value: Any) -> str:
    """Return JSON that may stand inside a script element, whatever text it carries.

    Only ``<`` can end a script element or open a comment in one (HTML Standard, "Restrictions for
    contents of script elements"), so it is written as an escape of JSON.
    """
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c")


def _data(conversion: Conversion) -> dict[str, Any]:
    found = account(conversion)
    lost = [entry for entry in found.entries if entry.outcome != "kept"]
    return {
        "notes": [
            [found.bar[entry.note], entry.outcome, " ".join(entry.reasons), told]
            for entry in lost
            for told in (found.explanation[entry.note],)
        ],
    }


@cache
def _environment() -> Environment:
    from jinja2 import Environment, FunctionLoader, StrictUndefined

    return Environment(
        loader=FunctionLoader(asset), autoescape=True, undefined=StrictUndefined, trim_blocks=True
    )


def asset(name: str) -> str:
    """Return one of the page's files as text."""
    return files("arranger.report").joinpath("page", name).read_text(encoding="utf-8")
