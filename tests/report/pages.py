"""Reads the page of a song as a program: its elements, scripts and data."""

from __future__ import annotations

import base64
import json
import zlib
from html.parser import HTMLParser
from typing import Any


class Reader(HTMLParser):
    """Collects elements and what scripts hold."""

    def __init__(self) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.scripts: list[str] = []
        self._in_script = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        self._in_script = tag == "script"
        if self._in_script:
            self.scripts.append("")

    def handle_endtag(self, tag: str) -> None:
        self._in_script = False

    def handle_data(self, data: str) -> None:
        if self._in_script:
            self.scripts[-1] += data


def read(page: str) -> Reader:
    reader = Reader()
    reader.feed(page)
    return reader


def data_of(page: str) -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads(unpacked(read(page).scripts[0]))
    return loaded


def unpacked(text: str) -> str:
    return zlib.decompress(base64.b64decode(text, validate=True), wbits=-15).decode()
