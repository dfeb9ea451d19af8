"""Bytes at an address as Intel HEX.

Source: Intel, "Hexadecimal Object File Format Specification", revision A, January 6, 1988 (written
down from memory): the 8-bit format, data records (type 00) and the end of file record (type 01).
"""

from __future__ import annotations

_A_RECORD = 16


def intel_hex(content: bytes, address: int) -> bytes:
    """Return bytes that begin at an address of 16 bits as text of ASCII lines.

    >>> print(intel_hex(b"tide", 0x8000).decode(), end="")
    :0480000074696465D6
    :00000001FF
    """
    starts = range(0, len(content), _A_RECORD)
    data = [_record(address + at, 0, content[at : at + _A_RECORD]) for at in starts]
    return ("\n".join([*data, _record(0, 1, b"")]) + "\n").encode("ascii")


def _record(address: int, kind: int, data: bytes) -> str:
    record = bytes((len(data), *address.to_bytes(2, "big"), kind, *data))
    return f":{(record + bytes((-sum(record) & 0xFF,))).hex().upper()}"
