"""A plain reading of the grammar of syntax colours: which scope each character of a line gets.

Rules, as editors have them: of all patterns the one that matches earliest wins, of several at one
place the first; ``begin`` opens a region that its ``end`` closes, and inside it the region's own
patterns count; here no region outlasts its line. The regular expressions are run by Oniguruma, the
library that such grammars are written for.
"""

from __future__ import annotations

import json
from functools import cache
from importlib.resources import files
from typing import Any, NamedTuple

import onigurumacffi

GRAMMAR: dict[str, Any] = json.loads(
    files("arranger.sheet.form").joinpath("duet.grammar.json").read_text("utf-8")
)


class Region(NamedTuple):
    """Where in a grammar the reading of a line stands."""

    rule: dict[str, Any]
    scopes: tuple[str, ...]


@cache
def compiled(pattern: str) -> Any:
    return onigurumacffi.compile(pattern)


def scopes(line: str) -> list[tuple[str, ...]]:
    """Return the scopes of each character of a line, the outermost first."""
    text = line + "\n"
    found: list[tuple[str, ...]] = [()] * len(text)
    open_regions = [Region(GRAMMAR, ())]
    at = 0
    while at < len(text):
        region = open_regions[-1]
        matches = [(match, rule) for rule, match in _matches(region.rule["patterns"], text, at)]
        end = region.rule.get("end")
        closing = compiled(end).search(text, at) if end else None
        first = min(matches, key=lambda each: each[0].start(), default=None)
        if closing is not None and (first is None or closing.start() <= first[0].start()):
            _fill(found, at, closing.end(), region.scopes)
            open_regions.pop()
            at = closing.end()
            continue
        if first is None:
            _fill(found, at, len(text), region.scopes)
            break
        match, rule = first
        inner = (*region.scopes, rule["name"]) if "name" in rule else region.scopes
        _fill(found, at, match.start(), region.scopes)
        _fill(found, match.start(), match.end(), inner)
        for number, capture in rule.get("beginCaptures", rule.get("captures", {})).items():
            start, stop = match.span(int(number))
            if start >= 0:
                _fill(found, start, stop, (*inner, capture["name"]))
        if "begin" in rule:
            open_regions.append(Region(rule, inner))
        assert match.end() > at or "begin" in rule, (line, rule)
        at = match.end()
    assert len(open_regions) == 1, line
    return found[: len(line)]


def _matches(patterns: list[dict[str, Any]], text: str, at: int) -> Any:
    for pattern in patterns:
        rule = pattern
        while "include" in rule:
            rule = GRAMMAR["repository"][rule["include"].removeprefix("#")]
        match = compiled(rule.get("match", rule.get("begin"))).search(text, at)
        if match is not None:
            yield rule, match


def _fill(found: list[tuple[str, ...]], start: int, stop: int, value: tuple[str, ...]) -> None:
    found[start:stop] = [value] * (stop - start)


def coloured(line: str) -> list[tuple[str, str]]:
    """Return the words of a line with their innermost scopes, without the language's name."""
    words: list[tuple[str, str]] = []
    before: tuple[str, ...] | None = None
    for character, scope in zip(line, scopes(line), strict=True):
        if scope == before:
            words[-1] = (words[-1][0] + character, words[-1][1])
        else:
            words.append((character, scope[-1].removesuffix(".duet") if scope else ""))
        before = scope
    return [(word.strip(), name) for word, name in words if word.strip()]
