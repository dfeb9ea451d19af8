"""Seeded damage to MIDI files, for the tests and the fuzzing benchmark."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from random import Random


def mutated(data: bytes, random: Random) -> bytes:
    """Return the bytes with one to twenty small injuries."""
    damaged = bytearray(data)
    for _ in range(random.choice((1, 1, 2, 5, 20))):
        if not damaged:
            break
        place = random.randrange(len(damaged))
        size = random.choice((1, 1, 2, 8))
        match random.randrange(6):
            case 0:
                damaged[place] = random.randrange(256)
            case 1:
                damaged[place] ^= 1 << random.randrange(8)
            case 2:
                del damaged[place : place + size]
            case 3:
                damaged[place:place] = random.randbytes(size)
            case 4:
                damaged[place:place] = damaged[place : place + random.randrange(40)]
            case _:
                if random.random() < 0.2:
                    del damaged[place:]
    return bytes(damaged)


def mutations(seeds: Sequence[bytes], random: Random, count: int) -> Iterator[bytes]:
    """Yield damaged versions of files picked at random."""
    for _ in range(count):
        yield mutated(random.choice(seeds), random)
