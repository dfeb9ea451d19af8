"""A two-pass assembler for the Z80 instructions that the player uses.

So that code and data can be written where no assembler is installed. It reads the text that is
exported, which common Z80 assemblers read too; tests compare the bytes.

A line holds a label (``name:``), an instruction or a directive (``org``, ``equ``, ``defb``,
``defw``), and a comment after ``;``. An expression is a sum or difference of decimal numbers and
names. Opcodes: Z80 CPU User Manual, UM0080.
"""

from __future__ import annotations

import re
from typing import NamedTuple

_OPCODES = """
    adc a,h = 8C | add a,b = 80 | add a,e = 83 | add a,l = 85 | add hl,bc = 09 | add hl,de = 19 | add hl,hl = 29 | and d = A2
    and e = A3 | and n = E6 n | bit 6,c = CB 71 | bit 7,c = CB 79 | call nn = CD w
    call nz,nn = C4 w | call z,nn = CC w | cp n = FE n | dec a = 3D | dec b = 05 | dec de = 1B | dec hl = 2B
    dec h = 25 | dec sp = 3B | di = F3 | djnz e = 10 e | ei = FB | ex af,af' = 08 | ex (sp),hl = E3 | ex de,hl = EB | exx = D9
    in a,(n) = DB n | inc a = 3C | inc b = 04 | inc de = 13 | inc hl = 23 | inc sp = 33
    jp (hl) = E9 | jp nc,nn = D2 w | jp nn = C3 w | jp nz,nn = C2 w | jp pe,nn = EA w
    jp po,nn = E2 w | jp z,nn = CA w | jr c,e = 38 e | jr e = 18 e | jr nc,e = 30 e | jr nz,e = 20 e
    jr z,e = 28 e | ld (nn),a = 32 w | ld (nn),de = ED 53 w | ld (nn),hl = 22 w
    ld (nn),sp = ED 73 w | ld (hl),a = 77 | ld a,(de) = 1A | ld a,(hl) = 7E | ld a,(nn) = 3A w | ld a,b = 78 | ld a,c = 79
    ld a,d = 7A | ld a,h = 7C | ld a,i = ED 57 | ld a,n = 3E n | ld b,(hl) = 46 | ld b,a = 47 | ld b,h = 44
    ld b,n = 06 n | ld bc,nn = 01 w | ld c,(hl) = 4E | ld d,(hl) = 56 | ld d,a = 57 | ld e,(hl) = 5E | ld e,a = 5F | ld l,c = 69 | ld c,a = 4F | ld de,(nn) = ED 5B w | ld de,nn = 11 w
    ld h,(hl) = 66 | ld h,b = 60 | ld h,a = 67 | ld h,e = 63 | ld h,n = 26 n | ld hl,(nn) = 2A w
    ld hl,nn = 21 w | ld l,a = 6F | ld sp,(nn) = ED 7B w | ld sp,nn = 31 w | ld sp,hl = F9 | ldir = ED B0 | nop = 00
    or a = B7 | or c = B1 | or e = B3 | or n = F6 n | out (n),a = D3 n | pop af = F1 | pop bc = C1
    pop de = D1 | pop hl = E1 | push af = F5 | push bc = C5 | push de = D5 | push hl = E5
    ret = C9 | rra = 1F | sbc a,a = 9F | sbc a,n = DE n | sub c = 91 | sub l = 95 | sub n = D6 n | xor a = AF | xor c = A9 | xor n = EE n
    xor d = AA | xor l = AD
"""
"""Instruction = bytes; n a byte, w a word (low byte first), e a distance from the next instruction."""

_LINE = re.compile(r"(?:([a-z_][a-z0-9_]*):)?\s*([^;]*?)\s*(?:;.*)?")
_TERM = re.compile(r"([+-]?)\s*([a-z_][a-z0-9_]*|[0-9]+)\s*")


class _Form(NamedTuple):
    pattern: re.Pattern[str]
    code: tuple[str, ...]


class Assembled(NamedTuple):
    """What a source became."""

    origin: int
    content: bytes
    symbols: dict[str, int]


class _Piece(NamedTuple):
    """A line that takes room."""

    line: int
    address: int
    code: tuple[str, ...]
    operands: tuple[str, ...]


def _forms() -> dict[str, list[_Form]]:
    """Return the instructions by mnemonic, those without an expression first."""
    found: dict[str, list[_Form]] = {}
    for entry in re.split(r"\s*[|\n]\s*", _OPCODES.strip()):
        text, code = (part.strip() for part in entry.split("="))
        pattern = re.sub(r"\b(?:nn|n)\b|(?<=[ ,])e$", "@", text)
        if text.startswith(("jr", "djnz")):
            pattern = re.sub(r"(?<=[ ,])e$", "@", text)
        elif "n" not in code and "w" not in code:
            pattern = text
        regex = re.escape(pattern).replace("@", "([^(),]+)")
        found.setdefault(text.split()[0], []).append(_Form(re.compile(regex), tuple(code.split())))
    for forms in found.values():
        forms.sort(key=lambda form: form.pattern.groups)
    return found


def assemble(source: str) -> Assembled:
    """Return the bytes that a source stands for.

    Raises `ValueError` if a line can't be read, a name is missing or a distance is too long; says
    the line.
    """
    forms = _forms()
    symbols: dict[str, int] = {}
    pieces: list[_Piece] = []
    origin = address = 0
    for number, line in enumerate(source.splitlines(), 1):
        match = _LINE.fullmatch(line)
        if match is None:
            message = f"line {number} can't be read: {line!r}"
            raise ValueError(message)
        label, text = match.groups()
        word, _, rest = text.partition(" ")
        if word == "equ":
            symbols[label] = _value(rest, symbols)
            continue
        if label is not None:
            symbols[label] = address
        if word == "org":
            origin = address = _value(rest, symbols)
        elif text:
            piece = _piece(forms, word, rest.strip(), number, address)
            if piece is None:
                message = f"line {number} is no instruction that is known here: {text!r}"
                raise ValueError(message)
            pieces.append(piece)
            address += _size(piece)
    return Assembled(origin, b"".join(_encoded(piece, symbols) for piece in pieces), symbols)


def _piece(
    forms: dict[str, list[_Form]], word: str, rest: str, line: int, address: int
) -> _Piece | None:
    if word in ("defb", "defw"):
        values = tuple(rest.split(","))
        return _Piece(line, address, ("n" if word == "defb" else "w",) * len(values), values)
    text = f"{word} {rest}".strip()
    for form in forms.get(word, ()):
        match = form.pattern.fullmatch(text)
        if match is not None:
            return _Piece(line, address, form.code, match.groups())
    return None


def _size(piece: _Piece) -> int:
    return sum(2 if part == "w" else 1 for part in piece.code)


def _encoded(piece: _Piece, symbols: dict[str, int]) -> bytes:
    try:
        return _bytes(piece, symbols)
    except ValueError as error:
        message = f"line {piece.line}: {error}"
        raise ValueError(message) from None


def _bytes(piece: _Piece, symbols: dict[str, int]) -> bytes:
    operands = iter(piece.operands)
    found = bytearray()
    for part in piece.code:
        if part == "n":
            found.append(_value(next(operands), symbols) & 0xFF)
        elif part == "w":
            found += (_value(next(operands), symbols) & 0xFFFF).to_bytes(2, "little")
        elif part == "e":
            target = next(operands)
            distance = _value(target, symbols) - piece.address - _size(piece)
            if not -128 <= distance <= 127:
                message = f"{target} is too far away: {distance} bytes"
                raise ValueError(message)
            found.append(distance & 0xFF)
        else:
            found.append(int(part, 16))
    return bytes(found)


def _value(text: str, symbols: dict[str, int]) -> int:
    total = place = 0
    text = text.strip()
    while place < len(text):
        match = _TERM.match(text, place)
        if match is None:
            message = f"{text!r} is no sum of names and numbers"
            raise ValueError(message)
        sign, term = match.groups()
        if not term.isdecimal() and term not in symbols:
            message = f"there is no {term!r}"
            raise ValueError(message)
        value = int(term) if term.isdecimal() else symbols[term]
        total += -value if sign == "-" else value
        place = match.end()
    return total
