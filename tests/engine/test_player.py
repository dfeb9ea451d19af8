"""What the Z80 player can't do is refused where an engine's file says it."""

from __future__ import annotations

import itertools
from importlib import resources

import pytest

from arranger.engine import load_engine, parse_engine
from arranger.engine.player_check import chunking
from arranger.errors import EngineError

PHASE = resources.files("arranger.engine").joinpath("builtin/twin-phase.toml").read_text("utf-8")
COUNTER = (
    resources.files("arranger.engine").joinpath("builtin/twin-counter.toml").read_text("utf-8")
)


@pytest.mark.parametrize(
    ("text", "old", "new", "said"),
    [
        (
            PHASE.replace('"phase"', '"frequencies"', 1),
            'lowest = "C1"\nhighest = "C7"\nbits = 17',
            "[pitch.table]\nA4 = 440.0",
            "counts phases or periods",
        ),
        (PHASE, "cycles = 118", "cycles = 120", "not the loop of the Z80 player"),
        (PHASE, "voice2_write = 59", "voice2_write = 50", "not the loop of the Z80 player"),
        (PHASE, "[memory]", "overhead_cycles = 9\n[memory]", "single passes, without overhead"),
        (PHASE, "takes_step = false", "takes_step = true", None),
        (PHASE, "counts = [", "counts = [\n 257, 7,", "can't count 7 passes"),
        (PHASE, "counts = [", "counts = [\n 521,", "can't count 521 passes"),
        (PHASE, "bits = 17", "bits = 16", "17 bits with the level"),
        (PHASE, 'highest = "C7"', 'highest = "A7"', None),
        (PHASE, 'highest = "C7"', 'highest = "G9"', r"A#7 needs 16480; .* has 1 to 16383"),
        (COUNTER, 'lowest = "A#1"', 'lowest = "A1"', "A1 needs the setting 270, more than 255"),
        (COUNTER, "bits = 8", "bits = 9", None),
        (PHASE, "idle = 0", "idle = 23", r"line 51: 23 sets bit 4, .*speaker's; idle = 7"),
        (COUNTER, "number = 254", "number = 256", "port.number can't be 256"),
        (PHASE, "settings = [4956, 1416]", "settings = [4956, 1417]", "counts drums in passes"),
        (PHASE, "settings = [4956, 1416]", "settings = [4956, 3540]", "half period of"),
    ],
)
def test_refused(text: str, old: str, new: str, said: str | None) -> None:
    changed = text.replace(old, new, 1)
    assert changed != text
    if said is None:
        assert parse_engine(changed).pitches
        return
    with pytest.raises(EngineError, match=said):
        parse_engine(changed)


def test_what_would_take_all_memory_is_refused() -> None:
    """Engine files may come from anybody: steps of hours, drums that change with every cycle."""
    mine = PHASE.replace('player = "z80"\n', "")
    with pytest.raises(EngineError, match=r"a step of 34 s is too long; at most 10 s"):
        parse_engine(mine.replace("counts = [", "counts = [\n 1_000_000,"))
    with pytest.raises(EngineError, match=r"17 cycles .* beyond hearing; at least 18"):
        parse_engine(mine.replace("settings = [118]", "settings = [17]", 1))


def test_steps_of_the_built_in_engines_can_be_counted() -> None:
    for name in ("twin-phase", "twin-counter"):
        lengths = load_engine(name).step_lengths
        for length in lengths:
            chunks, passes = chunking(length.setting)
            assert chunks * passes == length.setting
            assert 16 <= passes <= 258
            assert length.cycles == 118 * length.setting


def test_tempo_lists_are_as_fine_as_their_files_say() -> None:
    """The largest error of a step length asked for: half of the ratio of neighbours."""

    def worst(name: str, from_seconds: float) -> float:
        seconds = [length.seconds for length in load_engine(name).step_lengths]
        used = [value for value in seconds if value >= from_seconds]
        return max((b / a) ** 0.5 - 1 for a, b in itertools.pairwise(used))

    assert worst("twin-phase", 0.0) < 0.01
    assert worst("twin-counter", 0.0) < 0.061
    assert worst("twin-counter", 0.069) < 0.032
    for name, low, high in (("twin-phase", 0.036, 0.63), ("twin-counter", 0.035, 0.552)):
        lengths = load_engine(name).step_lengths
        assert lengths[0].seconds <= low
        assert lengths[-1].seconds >= high
