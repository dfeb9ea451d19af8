"""A Z80 home computer for tests: the PyPI package ``z80`` with a port that notes what is written."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from z80 import Z80Machine

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

RETURN_TO = 0x7000
STACK = 0x7F00
_MOST_TICKS = 0xFFFF_FF00
_SPEAKER = 0x10


class Call(NamedTuple):
    """What a call of a routine did."""

    cycles: int
    """From its first instruction to its return; None: it was stopped."""
    write_cycles: NDArray[np.int64]
    """When the port was written, at the end of the instruction, from the call's first cycle."""
    values: NDArray[np.int64]
    """What was written."""
    returned: bool

    def changes(self, first_cycle: int) -> tuple[list[int], list[int]]:
        """Return when the speaker bit changed, counted from a cycle of the call, and to what."""
        levels = (self.values & _SPEAKER != 0).astype(int)
        changed = levels != np.concatenate(([0], levels[:-1]))
        return (self.write_cycles[changed] - first_cycle).tolist(), levels[changed].tolist()


class Computer:
    """A machine with a routine in memory."""

    def __init__(self, origin: int, content: bytes, port: int = 254) -> None:
        self.machine = Z80Machine()
        self.keys = 0xFF
        self._port = port
        self._writes: list[tuple[int, int]] = []
        self.machine.set_memory_block(origin, content)
        self.machine.set_output_callback(self._written)
        self.machine.set_input_callback(lambda _address: self.keys)
        self.machine.set_breakpoint(RETURN_TO)
        self.key_at_cycle: int | None = None

    def _written(self, address: int, value: int) -> None:
        assert address & 0xFF == self._port
        self._writes.append((self.machine.ticks_to_stop, value))

    def call(self, address: int, *, most_cycles: int = 2_000_000_000) -> Call:
        """Call a routine; stop after so many cycles if it doesn't return."""
        machine = self.machine
        machine.sp = STACK - 2
        machine.memory[STACK - 2 : STACK] = RETURN_TO.to_bytes(2, "little")
        machine.pc = address
        self._writes.clear()
        machine.ticks_to_stop = most_cycles
        while machine.pc != RETURN_TO and machine.ticks_to_stop:
            machine.run()
        left, values = np.array(self._writes, dtype=np.int64).reshape(-1, 2).T
        return Call(
            most_cycles - machine.ticks_to_stop,
            most_cycles - left,
            values,
            machine.pc == RETURN_TO,
        )

    def registers(self) -> Mapping[str, int]:
        """Return what a routine must give back: the stack, index and other registers."""
        machine = self.machine
        names = ("sp", "ix", "iy", "alt_af", "alt_bc", "alt_de", "alt_hl", "iff1", "iff2")
        return {name: getattr(machine, name) for name in names}
