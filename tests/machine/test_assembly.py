"""The exported source: two assemblers, and the cycles that stand beside each line."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from z80 import Z80Machine

from arranger.engine import load_engine
from arranger.engine.player_check import PASS_CYCLES
from arranger.errors import SettingsError, SheetError, UsageError
from arranger.machine.assembler import assemble
from arranger.machine.player import code_bytes
from arranger.rows import HOLD, REST
from arranger.sound.schedule import READ_PASSES
from tests.machine.alone import assembly, binary
from tests.sound.sheets import sheet_of

if TYPE_CHECKING:
    from arranger.engine.model import Engine
    from arranger.sheet.model import Sheet

ENGINES = [load_engine("twin-phase"), load_engine("twin-counter")]
each_engine = pytest.mark.parametrize("engine", ENGINES, ids=lambda engine: engine.name)


def piece(engine: Engine, *, loop_step: int | None = None) -> Sheet:
    """Return a sheet with every drum sound and many pitches."""
    pitches = list(engine.pitches)
    steps = max(len(pitches), 2 * len(engine.drums))
    drums: list[str | None] = [None] * steps
    drums[: 2 * len(engine.drums) : 2] = [drum.name for drum in engine.drums]
    voice1 = [*pitches, *[HOLD] * (steps - len(pitches))]
    return sheet_of(
        engine, voice1, [48, HOLD, REST] * (steps // 3) + [50] * (steps % 3), drums,
        title="Ebb & flow; \u201cat noon\u201d\n        org 0", loop_step=loop_step,
    )  # fmt: skip


def assembled_by(command: str, source: Path, target: Path) -> None:
    """Have z80asm or pasmo, whichever the command is, assemble a source."""
    files = ["-o", str(target), str(source)] if "z80asm" in command else [str(source), str(target)]
    done = subprocess.run([command, *files], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


@each_engine
@pytest.mark.parametrize("assembler", ["z80asm", "pasmo"])
@pytest.mark.parametrize(("origin", "loop_step"), [(0x8000, None), (0xBEEF, 5)])
def test_common_assemblers_give_the_same_bytes(
    engine: Engine, assembler: str, origin: int, loop_step: int | None, tmp_path: Path
) -> None:
    command = shutil.which(assembler)
    if command is None:
        pytest.skip(f"{assembler} is not installed")
    sheet = piece(engine, loop_step=loop_step)
    source = tmp_path / "piece.asm"
    source.write_text(assembly(sheet, engine, origin), encoding="ascii")
    target = tmp_path / "piece.bin"
    assembled_by(command, source, target)
    image = binary(sheet, engine, origin)
    assert target.read_bytes() == image.content
    assert code_bytes(engine) == engine.code_bytes
    assert (image.code_bytes == engine.code_bytes) == (loop_step is not None)
    assert image.code_bytes + image.song_bytes == len(image.content)


@pytest.mark.parametrize("assembler", ["z80asm", "pasmo"])
def test_sources_with_prefixes_are_assembled_together(assembler: str, tmp_path: Path) -> None:
    command = shutil.which(assembler)
    if command is None:
        pytest.skip(f"{assembler} is not installed")
    first, second = ENGINES
    one = binary(piece(first), first, 0x8000, ("start",))
    after = 0x8000 + len(one.content)
    two = binary(piece(second), second, after)
    source = tmp_path / "both.asm"
    source.write_text(
        assembly(piece(first), first, 0x8000, ("start",), "quay_")
        + assembly(piece(second), second, after, prefix="mole_")
        + "        defw    quay_start, mole_step, mole_border\n"
    )
    target = tmp_path / "both.bin"
    assembled_by(command, source, target)
    points = one.symbols["start"], two.symbols["step"], two.symbols["border"]
    words = b"".join(point.to_bytes(2, "little") for point in points)
    assert target.read_bytes() == one.content + two.content + words


@each_engine
def test_the_player_is_as_long_as_the_readme_says(engine: Engine) -> None:
    text = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    readme = " ".join(text.split())
    said = re.search(
        r"takes (\d+) bytes \(`twin-counter`: (\d+)\): (\d+) fewer if the piece ends by itself, "
        r"(\d+) fewer with `--entries start` \((\d+) with `--entries step`\), if your program calls "
        r"nothing else, then (\d+) fewer without drums",
        readme,
    )
    assert said is not None
    phase, counter, loop, start, step, drums = map(int, said.groups())
    whole = phase if engine.name == "twin-phase" else counter
    song = piece(engine)
    assert binary(piece(engine, loop_step=0), engine).code_bytes == whole
    assert binary(song, engine).code_bytes == whole - loop
    assert binary(song, engine, entries=("start",)).code_bytes == whole - loop - start
    assert binary(song, engine, entries=("step",)).code_bytes == whole - loop - step
    plain = sheet_of(engine, [60])
    assert binary(plain, engine, entries=("start",)).code_bytes == whole - loop - start - drums


# Instruction timings in clock cycles (T states) of the Z80 CPU User Manual, UM0080, "Z80
# Instruction Set"; written down from memory. Two numbers: the condition not met, and met.
UM0080 = {
    "adc a,r": 4, "add a,r": 4, "add hl,rr": 11, "and r": 4, "and n": 7, "bit b,r": 8, "call nn": 17,
    "call cc,nn": (10, 17), "cp n": 7, "dec r": 4, "dec rr": 6, "di": 4, "ei": 4, "ex af,af'": 4, "ex (sp),hl": 19,
    "ex de,hl": 4, "exx": 4, "in a,(n)": 11, "inc r": 4, "inc rr": 6, "jp (hl)": 4, "jp cc,nn": 10, "jp nn": 10,
    "jr cc,e": (7, 12), "jr e": 12, "ld (nn),a": 13, "ld (nn),rr": 20, "ld (nn),hl": 16,
    "ld a,(nn)": 13, "ld a,i": 9, "ldir": (16, 21), "ld r,(hl)": 7, "ld r,n": 7, "ld r,r": 4,
    "ld rr,(nn)": 20, "ld hl,(nn)": 16, "ld rr,nn": 10, "ld sp,hl": 6, "nop": 4, "or r": 4,
    "or n": 7, "out (n),a": 11, "pop rr": 10, "push rr": 11,
    "ret": 10, "rra": 4, "sbc a,r": 4, "sbc a,n": 7, "sub r": 4, "sub n": 7, "xor r": 4, "xor n": 7,
}  # fmt: skip

LINE = re.compile(r"(?:(\w+):)?\s*([^;]*?)\s*(?:; *(\d+)?(?: +or +(\d+))?.*)?")


def kind_of(instruction: str) -> str:
    """Return the manual's heading for an instruction."""
    word, _, rest = re.sub(r"\s+", " ", instruction).partition(" ")
    operands = rest.split(",") if rest else []
    if word in ("jp", "jr", "call"):
        target = "e" if word == "jr" else "nn"
        if operands == ["(hl)"]:
            return "jp (hl)"
        return f"{word} " + (f"cc,{target}" if len(operands) == 2 else target)
    if word == "bit":
        return "bit b,r"
    if word in ("ex", "exx", "nop", "rra", "di", "ei", "ldir", "ret"):
        return f"{word} {rest}".strip()
    named = []
    for operand in operands:
        if (operand in ("a", "i", "hl", "sp") and word in (
            "ld", "add", "adc", "sbc", "in", "out",
        )) or operand == "(hl)":  # fmt: skip
            named.append(operand)
        elif operand in ("af", "bc", "de", "hl", "sp"):
            named.append("rr")
        elif operand in tuple("abcdehl"):
            named.append("r")
        elif operand.startswith("("):
            named.append("(n)" if word in ("in", "out") else "(nn)")
        else:
            named.append("n")
    text = f"{word} {','.join(named)}"
    for general, manual in (
        ("ld hl,n", "ld rr,nn"), ("ld sp,n", "ld rr,nn"), ("ld a,n", "ld r,n"),
        ("ld a,r", "ld r,r"), ("ld r,a", "ld r,r"), ("ld rr,n", "ld rr,nn"),
        ("ld (nn),sp", "ld (nn),rr"), ("ld sp,(nn)", "ld rr,(nn)"), ("add hl,hl", "add hl,rr"),
        ("sbc a,a", "sbc a,r"), ("add a,a", "add a,r"),
        ("ld a,(hl)", "ld r,(hl)"),
    ):  # fmt: skip
        if text == general:
            return manual
    return text


def timed_lines(source: str) -> list[tuple[str, int, int | None]]:
    """Return (instruction, cycles, other cycles) of each line that runs, as noted beside it."""
    found = []
    for line in source.splitlines():
        match = LINE.fullmatch(line)
        assert match is not None, line
        _label, instruction, first, second = match.groups()
        if instruction and instruction.split()[0] not in ("org", "equ", "defb", "defw"):
            assert first is not None, f"no cycles beside {line!r}"
            found.append((instruction, int(first), None if second is None else int(second)))
    return found


@each_engine
def test_cycles_beside_the_lines_are_the_manual_s(engine: Engine) -> None:
    lines = timed_lines(assembly(piece(engine), engine))
    assert len(lines) > 350
    for instruction, first, second in lines:
        manual = UM0080[kind_of(instruction)]
        noted = first if second is None else (first, second)
        if isinstance(manual, tuple) and second is None:
            assert first in manual, instruction
        else:
            assert set([noted] if isinstance(noted, int) else noted) == set(
                [manual] if isinstance(manual, int) else manual
            ), instruction


@each_engine
def test_cycles_beside_the_lines_are_the_emulator_s(engine: Engine) -> None:
    """Run each kind of instruction on the emulator by itself, branches both ways."""
    seen: dict[str, set[int]] = {}
    for instruction, _first, _second in timed_lines(assembly(piece(engine), engine)):
        text = re.sub(r"\s+", " ", instruction)
        word, _, rest = text.partition(" ")
        operands = rest.split(",")
        if word in ("jp", "jr", "call") and operands != ["(hl)"]:
            operands[-1] = "there"
        else:
            operands = [
                o if word == "bit" else re.sub(r"^(\(?)([a-z]\w{2,}|\d)[^)]*", r"\g<1>100", o)
                for o in operands
            ]
        code = f"{word} {','.join(operands)}".strip()
        content = assemble(f"org 32768\n{code}\nthere: nop\n").content
        for flags in (0x00, 0xFF):
            machine = Z80Machine()
            machine.set_memory_block(0x8000, content)
            machine.pc, machine.sp, machine.hl = 0x8000, 0x9000, 0x8100
            machine.af, machine.bc = flags, 0x0100 if flags else 0x0500
            machine.set_input_callback(lambda _address: 0xFF)
            machine.set_output_callback(lambda _address, _value: None)
            # The next line, what HL points to, and what RET finds on an empty stack.
            for stop in (0x8000 + len(content) - 1, 0x8100, 0):
                machine.set_breakpoint(stop)
            if word == "ldir":  # round again, which comes before the last round, or the last
                machine.bc, machine.de = 2 if flags else 1, 0x9100
            before = machine.frame_tick
            machine.run()
            last = 16 if word == "ldir" and flags else 0
            seen.setdefault(kind_of(instruction), set()).add(machine.frame_tick - before - last)
    assert len(seen) > 40
    for kind, cycles in seen.items():
        manual = UM0080[kind]
        assert cycles == (set(manual) if isinstance(manual, tuple) else {manual}), kind


def cycles_until(source: str, begin: str, end: str) -> list[tuple[str, int]]:
    """Return the instructions between two marks of the listing with their cycles, without stubs."""
    part = source.split(begin)[1].split(end)[0]
    part = re.sub(r"(keep|flip)\d+:\n(        .*\n)+", "", part)
    return [(instruction, first) for instruction, first, _ in timed_lines(part)]


def stretches(lines: list[tuple[str, int]], begun: int = 0) -> tuple[list[int], int]:
    """Return the cycles from write to write, and those that are left after the last."""
    found = []
    for instruction, cycles in lines:
        begun += cycles
        if instruction.startswith("out"):
            found.append(begun)
            begun = 0
    return found, begun


@each_engine
def test_each_half_pass_takes_59_cycles_by_the_listing(engine: Engine) -> None:
    """Follow the listing from write to write, along the ways on which voices sound."""
    source = assembly(piece(engine), engine)
    (first, *others), left = stretches(cycles_until(source, "\nloop:", "\nlooped:"))
    assert [*others, left + first] == [59, 59]
    turned = 4 + 10  # EXX and the jump to the chunk's end
    halves, left = stretches(cycles_until(source, "\nchunk:", "\n; DE becomes"), turned)
    assert [*halves, left + first] == [59] * 8


@each_engine
def test_reading_an_event_takes_nine_passes_by_the_listing(engine: Engine) -> None:
    """Where a phrase ends, another begins and both voices change; the emulator has the other ways."""
    source = assembly(piece(engine), engine)
    for called, cycles in (("catch", 152), ("tone", 89)):
        source = re.sub(rf"({called} +); 17\n", rf"\g<1>; {cycles}\n", source)
    reading = cycles_until(source, "\nevent:", "\nloop:")
    assert sum(cycles for _, cycles in reading) == READ_PASSES * PASS_CYCLES
    tone = cycles_until(source, "\ntone:", "\n; A voice counts")
    assert 17 + sum(cycles for _, cycles in tone) == 89


@each_engine
def test_the_head_says_what_a_programmer_must_know(engine: Engine) -> None:
    sheet = sheet_of(engine, [60], title="Very long " * 1000 + "\n ld a,0")
    head = assembly(sheet, engine, 0x9000).split("        org")[0]
    points = binary(sheet, engine, 0x9000).entry_points
    assert points["start"] == 0x9000
    assert all(line.startswith(";") for line in head.splitlines() if line)
    assert max(len(line) for line in head.splitlines()) <= 110
    for fact in (*map(str, points.values()), "Loudness", "local rules", "border"):
        assert fact in head


@each_engine
def test_the_sound_loop_is_small(engine: Engine) -> None:
    symbols = binary(piece(engine), engine).symbols
    size = symbols["looped"] - symbols["loop"]
    # A counter's ways round, "keep" and two instructions, lie elsewhere: three bytes each.
    assert size + 6 * (engine.method == "counter") <= 36


@each_engine
def test_refusals(engine: Engine) -> None:
    sheet = piece(engine)
    with pytest.raises(SettingsError, match="can't lie at 0x6000; choose 0x8000 or higher"):
        binary(sheet, engine, 0x6000)
    with pytest.raises(SheetError, match=r"the song takes .* bytes, and .* are free"):
        binary(sheet, engine, 0x10000 - engine.code_bytes - 100)
    with pytest.raises(UsageError, match="no entry 'play'; choose of start, step, stop"):
        binary(sheet, engine, entries=("start", "play"))
    with pytest.raises(UsageError, match="nothing could play the piece"):
        binary(sheet, engine, entries=("stop",))
    with pytest.raises(UsageError, match="'9x' can't begin a label"):
        assembly(sheet, engine, prefix="9x")
    alternate = load_engine("pc-alternate")
    with pytest.raises(SettingsError, match="no Z80 player for pc-alternate"):
        binary(sheet_of(alternate, [60]), alternate)


def test_assembler_refuses_what_it_does_not_know() -> None:
    with pytest.raises(ValueError, match="line 2 is no instruction that is known here: 'ld q,a'"):
        assemble("nop\nld q,a")
    with pytest.raises(ValueError, match="line 1: there is no 'nowhere'"):
        assemble("jp nowhere")
    with pytest.raises(ValueError, match="too far away: 198 bytes"):
        assemble("jr there\n" + "nop\n" * 198 + "there: nop\n")


@pytest.mark.parametrize(("gap", "distance"), [(127, 127), (128, None)])
def test_a_relative_jump_reaches_127_bytes_on_and_no_further(
    gap: int, distance: int | None
) -> None:
    source = "        jr      there\n" + "        nop\n" * gap + "there:  nop\n"
    if distance is None:
        with pytest.raises(ValueError, match="there is too far away: 128 bytes"):
            assemble(source)
    else:
        assert assemble(source).content[:2] == bytes((0x18, distance))


@pytest.mark.parametrize(("gap", "distance"), [(126, -128), (127, None)])
def test_a_relative_jump_reaches_128_bytes_back_and_no_further(
    gap: int, distance: int | None
) -> None:
    source = "there:  nop\n" + "        nop\n" * (gap - 1) + "        jr      there\n"
    if distance is None:
        with pytest.raises(ValueError, match="there is too far away: -129 bytes"):
            assemble(source)
    else:
        assert assemble(source).content[-2:] == bytes((0x18, distance & 0xFF))
