"""Text inside files, in whatever encoding it was written.

The Standard MIDI File names no encoding. UTF-8 is told by its own structure. Between Shift-JIS
(cp932), CP1251 and Latin-1 (cp1252, which holds it) charset-normalizer measures how much mess each
reading makes; names are too short for that alone, so `_fit` adds what the scripts themselves say:
words don't mix Latin with Cyrillic letters, and small letters don't come before capitals.

All texts of a file are weighed together, and the result depends on nothing but them.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Sequence

LONGEST = 2000
"""Characters of one text that are kept."""

_DECLARATION = re.compile(rb"<\?xml[^>]*?encoding\s*=\s*[\"']([\w.-]+)[\"']")
_LONGEST_SAMPLE = 100_000

_CANDIDATES = {"cp1252": "Latin-1", "cp932": "Shift-JIS", "cp1251": "CP1251"}
# Russian letters, and the further ones of Ukrainian and Belarusian.
_CYRILLIC = re.compile(
    r"[\u0410-\u044f\u0401\u0451\u0404\u0454\u0406\u0456\u0407\u0457\u0490\u0491\u040e\u045e]+"
)
_WORD = re.compile(r"[^\W\d_]+")
_KANA_OR_KANJI = re.compile(r"[\u3040-\u30ff\u4e00-\u9fff\u3001-\u303f\uff01-\uff5e]")
_HALF_WIDTH = re.compile(r"[\uff61-\uff9f]+")
_COMMON_KANJI = range(0x88, 0x98)
"""Lead bytes of JIS level 1, the everyday characters (JIS X 0208)."""
_MESS_WEIGHT = 0.5
_MOST_WEIGHED = 4000
"""Bytes of text that are weighed."""


class Decoded(NamedTuple):
    """Texts as people read them."""

    texts: list[str]
    encoding: str | None
    """The name of the encoding; None when all is plain ASCII."""


def decode(texts: Sequence[bytes]) -> Decoded:
    """Decode the texts of one file."""
    foreign = sorted({text for text in texts if not text.isascii()})
    if not foreign:
        return Decoded([_tidy(text.decode("ascii")) for text in texts], None)
    encoding = _detect(foreign)
    decoded = [_tidy(_as(text, encoding)) for text in texts]
    return Decoded(decoded, "UTF-8" if encoding == "utf_8" else _CANDIDATES[encoding])


def decode_document(data: bytes) -> str:
    """Decode a whole text file: by its byte order mark, its XML declaration, or detection."""
    for mark, codec in (
        (b"\xef\xbb\xbf", "utf-8-sig"),
        (b"\xff\xfe", "utf-16"),
        (b"\xfe\xff", "utf-16"),
    ):
        if data.startswith(mark):
            return data.decode(codec, "replace")
    for start, codec in ((b"<\0", "utf-16-le"), (b"\0<", "utf-16-be")):
        if data.startswith(start):
            return data.decode(codec, "replace")
    if data.isascii():
        return data.decode("ascii")
    declared = _DECLARATION.match(data)
    if declared is not None:
        try:
            return data.decode(declared[1].decode("ascii"))
        except (LookupError, UnicodeDecodeError):
            pass
    if _is(data, "utf_8"):
        return data.decode()
    lines = sorted({line for line in data[:_LONGEST_SAMPLE].splitlines() if not line.isascii()})
    return _as(data, _detect(lines) if lines else "cp1252")


def _tidy(text: str) -> str:
    """Cut what is too long, and the zero bytes that some writers end texts with."""
    return text[:LONGEST].rstrip("\0").removeprefix("\ufeff")


def _as(text: bytes, encoding: str) -> str:
    """Decode one text; one that isn't in the file's encoding is UTF-8 or Latin-1."""
    for name in (encoding, "utf_8", "cp1252"):
        try:
            return text.decode(name)
        except UnicodeDecodeError:
            continue
    return text.decode("latin-1")


def _detect(foreign: Sequence[bytes]) -> str:
    """Return the codec that the texts, none of them ASCII, are written in."""
    if sum(_is(text, "utf_8") for text in foreign) * 2 > len(foreign):
        return "utf_8"
    weighed: list[bytes] = []
    for text in foreign:
        if sum(map(len, weighed)) > _MOST_WEIGHED:
            break
        weighed.append(text[:_MOST_WEIGHED])
    mess = _mess(b"\n".join(weighed))
    scores = {
        name: sum(len(text) * _fit(text, name) for text in weighed)
        - _MESS_WEIGHT * mess.get(name, 1.0) * sum(map(len, weighed))
        for name in _CANDIDATES
    }
    return max(scores, key=lambda name: scores[name])


def _mess(text: bytes) -> dict[str, float]:
    """Return how messy the text is in each encoding, 0..1; what it can't be is left out."""
    # Imported here: plain ASCII, the common case, must not pay for it.
    from charset_normalizer import from_bytes

    found = from_bytes(text, cp_isolation=list(_CANDIDATES), threshold=0.9)
    return {name: match.chaos for match in found for name in match.could_be_from_charset}


def _is(text: bytes, encoding: str) -> bool:
    try:
        text.decode(encoding)
    except UnicodeDecodeError:
        return False
    return True


def _fit(text: bytes, encoding: str) -> float:
    """Return how well a text reads in an encoding, -1..1."""
    if not _is(text, encoding):
        return -1.0
    decoded = text.decode(encoding)
    foreign = sum(not char.isascii() for char in decoded)
    if encoding == "cp932":
        return sum(map(_japanese, re.findall(r"[^\x00-\x7f]+|[A-Za-z]+", decoded))) / foreign
    judge = _cyrillic if encoding == "cp1251" else _latin
    words = [word for word in _WORD.findall(decoded) if not word.isascii()]
    among_latin = bool(re.search("[A-Za-z]{2}", decoded))
    letters = total = 0.0
    for word in words:
        weight = sum(not char.isascii() for char in word)
        letters += weight
        if len(word) == 1:
            # One letter says little: "à" among Latin words, a Cyrillic conjunction among others.
            total += 0.5 if among_latin == (encoding == "cp1252") else -0.5
        else:
            total += judge(word) * weight
    return (total + 0.3 * (foreign - letters)) / foreign


def _japanese(word: str) -> float:
    """Return the sum over the characters of a run, 1 for each that Japanese text is made of."""
    if word.isascii():
        return 0.0
    total = 0.0
    for char in word:
        lead = char.encode("cp932")[0]
        if _KANA_OR_KANJI.match(char):
            rare = "\u4e00" <= char <= "\u9fff" and lead not in _COMMON_KANJI
            total += -0.5 if rare else 1.0
    for run in _HALF_WIDTH.findall(word):
        # Real half-width words carry voicing or length marks; Cyrillic capitals read as such don't.
        total += len(run) * (0.8 if re.search("[\uff9e\uff9f\uff70]", run) else 0.1)
    return total


def _cyrillic(word: str) -> float:
    """Return how Cyrillic a word looks, -1..1."""
    if not _CYRILLIC.fullmatch(word) or not _is_cased(word):
        return -1.0
    return 1.0 if len(word) > 2 else 0.5


def _latin(word: str) -> float:
    """Return how Western European a word looks, -1..1."""
    plain = sum(char.isascii() for char in word)
    if not _is_cased(word):
        return -1.0
    return 1.0 if plain * 2 >= len(word) else -0.5


def _is_cased(word: str) -> bool:
    """Return whether a word is written small, capitalised or in capitals."""
    return word in {word.lower(), word.upper(), word[0].upper() + word[1:].lower()}
