"""A PC for tests: unicorn's CPU, the timer and the speaker counted here, and how long things take.

The timer as the data sheet of the 8254 says (231164, from memory): channel 0 in mode 2 counts down
from what was written, channel 2 in mode 3 takes a new count with its next half cycle, or if a control
word came before it, at once, and is high then.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import unicorn
from unicorn import x86_const as x86

if TYPE_CHECKING:
    from numpy.typing import NDArray

SEGMENT = 0x2000
RETURN_AT = 0x10
STACK = 0xFF00
KEPT = [
    getattr(x86, f"UC_X86_REG_{name}")
    for name in ("BX", "CX", "DX", "SI", "DI", "BP", "SP", "DS", "ES", "SS", "EFLAGS")
]  # fmt: skip
_INTERRUPTS_ON = 0x200


@dataclass
class Pc:
    """A machine with bytes at an address of a segment; times are clocks of the timer."""

    code: bytes
    address: int = 0x7C13
    access_clocks: int = 1
    instruction_quarters: int = 0
    """Quarters of a clock that an instruction takes besides."""
    interrupt_every: int = 0
    """A program's interrupt comes so often if it may (0: never) ..."""
    interrupt_clocks: int = 0
    """... and takes so long."""
    key_after: int | None = None
    clocks: int = 0
    started: int = 0
    port_b: int = 0xAC
    pin: list[tuple[int, int]] = field(default_factory=list)
    """When the pin changed, and to what."""
    control: list[int] = field(default_factory=list)
    taken_keys: int = 0
    _channel0: int = 0
    _latch: list[int] = field(default_factory=list)
    _low: int | None = None
    _count: int = 0
    _flip: int | None = None
    _level: int = 1
    _anew: bool = False
    _interrupt: int = 0
    _quarters: int = 0

    def __post_init__(self) -> None:
        self.cpu = unicorn.Uc(unicorn.UC_ARCH_X86, unicorn.UC_MODE_16)
        self.cpu.mem_map(0, 0x100000)
        self.cpu.mem_write(SEGMENT * 16 + self.address, self.code)
        self.cpu.mem_write(0x41A, bytes((0x1E, 0, 0x1E, 0)))
        self.cpu.hook_add(unicorn.UC_HOOK_INSN, self._in, None, 1, 0, x86.UC_X86_INS_IN)
        self.cpu.hook_add(unicorn.UC_HOOK_INSN, self._out, None, 1, 0, x86.UC_X86_INS_OUT)
        self.cpu.hook_add(unicorn.UC_HOOK_INTR, self._system)
        if self.instruction_quarters:
            self.cpu.hook_add(unicorn.UC_HOOK_CODE, self._instruction)
        for number, register in enumerate(KEPT[:6]):
            self.cpu.reg_write(register, 0x1234 + number)
        self.cpu.reg_write(x86.UC_X86_REG_DS, 0x5000)
        self.cpu.reg_write(x86.UC_X86_REG_ES, 0x6000)
        self.cpu.reg_write(x86.UC_X86_REG_SS, SEGMENT)
        self.cpu.reg_write(x86.UC_X86_REG_SP, STACK)
        self.cpu.reg_write(x86.UC_X86_REG_EFLAGS, _INTERRUPTS_ON | 0x402)

    def call(self, address: int, *, far: bool = False, kept: bool = True, limit: int = 600) -> int:
        """Call what lies at an address; return AX. If `kept`, all other registers must come back."""
        before = [self.cpu.reg_read(register) for register in KEPT]
        stack = self.cpu.reg_read(x86.UC_X86_REG_SP)
        frame = RETURN_AT.to_bytes(2, "little") + (SEGMENT.to_bytes(2, "little") if far else b"")
        self.cpu.mem_write(SEGMENT * 16 + stack - len(frame), frame)
        self.cpu.reg_write(x86.UC_X86_REG_SP, stack - len(frame))
        self.run(address, limit)
        after = [self.cpu.reg_read(register) for register in KEPT]
        assert after == before or not kept
        return int(self.cpu.reg_read(x86.UC_X86_REG_AX))

    def run(self, address: int, limit: int = 600) -> None:
        """Run from an address until it comes back."""
        self.cpu.reg_write(x86.UC_X86_REG_CS, SEGMENT)
        self.cpu.emu_start(
            SEGMENT * 16 + address,
            SEGMENT * 16 + RETURN_AT,
            timeout=limit * unicorn.UC_SECOND_SCALE,
        )
        assert self.cpu.reg_read(x86.UC_X86_REG_IP) == RETURN_AT

    def edges(self) -> list[tuple[int, int]]:
        """Return the pin's changes, counted from when channel 2 was begun before the first."""
        self._advance()
        return [(clock - self.started, level) for clock, level in self.pin]

    def wait(self, clocks: int) -> None:
        """Let time pass in the program that calls."""
        self.clocks += clocks

    def _instruction(self, cpu: unicorn.Uc, *_: object) -> None:
        self._quarters += self.instruction_quarters
        self.clocks += self._quarters // 4
        self._quarters %= 4
        may = cpu.reg_read(x86.UC_X86_REG_EFLAGS) & _INTERRUPTS_ON
        if may and self.interrupt_every and self.clocks >= self._interrupt:
            self.clocks += self.interrupt_clocks
            self._interrupt = self.clocks + self.interrupt_every

    def _system(self, cpu: unicorn.Uc, number: int, _data: object) -> None:
        if number == 0x20:  # the program ends
            cpu.reg_write(x86.UC_X86_REG_IP, RETURN_AT)
            cpu.emu_stop()
            return
        assert number == 0x16
        assert cpu.reg_read(x86.UC_X86_REG_AX) >> 8 == 0
        self.taken_keys += 1

    def _advance(self) -> None:
        """Let channel 2 come to the present."""
        while self._flip is not None and self._flip <= self.clocks:
            self._level = 1 - self._level
            self._show(self._flip)
            self._flip += (self._count + self._level) // 2

    def _show(self, clock: int) -> None:
        level = self._level & self.port_b >> 1 & 1
        if level != (self.pin[-1][1] if self.pin else 0):
            self.pin.append((clock, level))

    def _in(self, cpu: unicorn.Uc, port: int, _size: int, _data: object) -> int:
        self.clocks += self.access_clocks
        if self.key_after is not None and self.clocks > self.key_after:
            cpu.mem_write(0x41C, bytes((0x20, 0)))
        if port == 0x40:
            return self._latch.pop(0)
        assert port == 0x61
        return self.port_b

    def _out(self, _cpu: unicorn.Uc, port: int, _size: int, value: int, _data: object) -> None:
        self.clocks += self.access_clocks
        self._advance()
        if port == 0x43:
            self._low = None
            if value == 0:  # latch channel 0
                count = (self._channel0 - self.clocks) & 0xFFFF
                self._latch = [count & 0xFF, count >> 8]
                return
            self.control.append(value)
            if value == 0xB6:
                self._level, self._flip, self._anew = 1, None, True
                self._show(self.clocks)
        elif port == 0x40:
            assert value == 0
            self._channel0 = self.clocks
        elif port == 0x42:
            if self._low is None:
                self._low = value
                return
            self._count, self._low = self._low | value << 8, None
            if self._anew:
                self._flip, self._anew = self.clocks + (self._count + 1) // 2, False
                if not self.pin:
                    self.started = self.clocks
        else:
            assert port == 0x61
            assert value & 0xFC == self.port_b & 0xFC
            self.port_b = value
            self._show(self.clocks)


def differences(one: list[tuple[int, int]], other: list[tuple[int, int]]) -> NDArray[np.int64]:
    """Return for how many clocks at a time two pins differ, both low at first."""
    changes = np.array(sorted([*(clock for clock, _ in one), *(clock for clock, _ in other)]))
    assert all(pin[-1][1] == 0 for pin in (one, other) if pin)
    # Each change flips whether they differ, as both begin low.
    return (changes[1:] - changes[:-1])[::2]
