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
INTERRUPT = 0x38
"""Where an interrupt calls, in mode 1."""
_END_OF_FRAME = 8


class Call(NamedTuple):
    """What a call of a routine did."""

    cycles: int
    """From its first instruction to its return, or until it was stopped."""
    write_cycles: NDArray[np.int64]
    """When the port was written, at the end of the instruction, from the call's first cycle."""
    values: NDArray[np.int64]
    """What was written."""
    returned: bool

    def changes(self, first_cycle: int, speaker: int = 0x10) -> tuple[list[int], list[int]]:
        """Return when the speaker bit changed, counted from a cycle of the call, and to what."""
        levels = (self.values & speaker != 0).astype(int)
        changed = levels != np.concatenate(([0], levels[:-1]))
        return (self.write_cycles[changed] - first_cycle).tolist(), levels[changed].tolist()


class Computer:
    """A machine with a routine in memory."""

    def __init__(
        self,
        origin: int,
        content: bytes,
        *,
        port: int = 254,
        key_port: int = 254,
        key_bit: int = 0b100,
    ) -> None:
        self.machine = Z80Machine()
        self.key_down = (0, 0)
        """From which cycle of a call to which a key is down."""
        self._port = port
        self._key_port = key_port
        self._key_bit = key_bit
        self._ticks_left = bytearray()
        self._values = bytearray()
        self._ticks_to_stop = self.machine.get_state_view()[16:20]
        self.machine.set_memory_block(origin, content)
        self.machine.set_output_callback(self._written)
        self.machine.set_input_callback(self._read)
        self.machine.set_breakpoint(RETURN_TO)
        self.other_ports: set[int] = set()
        self.interrupts: list[int] | None = None
        """The cycles of a call in which interrupts came, every 100,000; None: there are none."""
        self._most_cycles = 0

    def _read(self, address: int) -> int:
        """Answer as a keyboard does: low bits for keys in the rows whose address lines are low."""
        assert address == self._key_port, "all rows of keys are asked for"
        now = self._most_cycles - self.machine.ticks_to_stop
        return 0xFF & ~self._key_bit if self.key_down[0] <= now < self.key_down[1] else 0xFF

    def _written(self, address: int, value: int) -> None:
        # Called some 60,000 times for a second of music: it only notes.
        self._ticks_left += self._ticks_to_stop
        self._values.append(value)
        if address & 0xFF != self._port:
            self.other_ports.add(address & 0xFF)

    def call(self, address: int, *, most_cycles: int = 2_000_000_000) -> Call:
        """Call a routine; stop after so many cycles if it doesn't return."""
        machine = self.machine
        machine.sp = STACK - 2
        machine.memory[STACK - 2 : STACK] = RETURN_TO.to_bytes(2, "little")
        machine.pc = address
        self._ticks_left.clear()
        self._values.clear()
        machine.ticks_to_stop = self._most_cycles = most_cycles
        while machine.pc != RETURN_TO and machine.ticks_to_stop:
            if machine.run() & _END_OF_FRAME and self.interrupts is not None:
                now = most_cycles - machine.ticks_to_stop
                if machine.on_handle_active_int():
                    self.interrupts.append(now)
        return Call(
            most_cycles - machine.ticks_to_stop,
            most_cycles - np.frombuffer(bytes(self._ticks_left), "<u4").astype(np.int64),
            np.frombuffer(bytes(self._values), np.uint8).astype(np.int64),
            machine.pc == RETURN_TO,
        )

    def go_on(self, cycles: int) -> None:
        """Let a call that was stopped run for so many cycles more, or until it returns."""
        self.machine.ticks_to_stop = self._most_cycles = cycles
        while self.machine.pc != RETURN_TO and self.machine.ticks_to_stop:
            self.machine.run()

    def ends_with_a_tap(self, cycles: int) -> bool:
        """Return whether a key that is down for so long from here on ends the call with A = 1.

        Afterwards the machine is where it was, and the key up.
        """
        assert self.machine.pc != RETURN_TO, "it has returned before"
        view = self.machine.get_state_view()
        before = bytes(view)
        self.key_down = (0, cycles)
        self.go_on(cycles + 2000)
        ended = self.machine.pc == RETURN_TO and self.machine.a == 1
        view[:] = before
        self.key_down = (0, 0)
        return ended

    def registers(self) -> Mapping[str, int]:
        """Return what a routine must give back: the stack, index and other registers."""
        machine = self.machine
        names = ("sp", "ix", "iy", "alt_af", "alt_bc", "alt_de", "alt_hl", "iff1", "iff2")
        return {name: getattr(machine, name) for name in names}
