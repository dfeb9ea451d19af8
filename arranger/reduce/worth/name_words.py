"""What a part's name says about its role; the words stand in ``name_words.toml``."""

from __future__ import annotations

import re
import tomllib
import unicodedata
from functools import cache
from importlib.resources import files
from typing import Any, NamedTuple

ROLES = ("tune", "bass", "harmony")


class Vote(NamedTuple):
    """What one word of a name speaks for."""

    role: str
    weight: float
    word: str


def name_vote(name: str) -> Vote | None:
    """Return what a part's name says, or None when it says nothing or contradicts itself.

    The surest word counts. Where a name holds equally sure words for several roles, harmony outdoes
    bass, and bass outdoes tune: the qualifying word is the rarer one ("backing vocals", "bass
    voice").

    >>> name_vote("Lead Vocals")
    Vote(role='tune', weight=6.0, word='lead')
    >>> name_vote("Backing Vocals").role, name_vote("Violoncello").role, name_vote("Voice 2").role
    ('harmony', 'bass', 'bass')
    >>> name_vote("Staff 7") is None
    True
    """
    table = _table()
    text = " ".join(_words(name))
    if text in table["sheet"]:
        return Vote(table["sheet"][text], table["weights"]["sheet"], text)
    for phrase in table["misleading"]["phrases"]:
        text = text.replace(phrase, " ")
    words = text.split()
    written = unicodedata.normalize("NFKC", name)
    best: Vote | None = None
    for role in ROLES:
        for kind in ("sure", "likely"):
            weight = float(table["weights"][kind])
            word = _first_match(words, table[role][kind])
            if word is None and kind == "sure":
                word = next((w for w in table[role]["anywhere"] if w in written), None)
            if word is not None and (best is None or weight >= best.weight):
                best = Vote(role, weight, word)
    return best


@cache
def _table() -> dict[str, Any]:
    text = files("arranger.reduce.worth").joinpath("name_words.toml").read_text("utf-8")
    table = tomllib.loads(text)
    for role in ROLES:
        for kind in ("sure", "likely"):
            entries = [_plain(entry) for entry in table[role][kind].split()]
            stems = tuple(entry[:-1] for entry in entries if entry.endswith("-"))
            table[role][kind] = (frozenset(entries), stems)
    return table


def _plain(text: str) -> str:
    """Return the text in lower case without accents."""
    decomposed = unicodedata.normalize("NFKD", text)
    return "".join(c for c in decomposed if not unicodedata.combining(c)).casefold()


def _words(name: str) -> list[str]:
    return re.findall(r"[^\W\d_]+|\d+", _plain(name))


def _first_match(words: list[str], entries: tuple[frozenset[str], tuple[str, ...]]) -> str | None:
    whole, stems = entries
    return next((w for w in words if w in whole or w.startswith(stems)), None)
