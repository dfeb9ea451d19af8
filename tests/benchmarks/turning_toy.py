"""The rule that voice 2 is measured against: the bass on each beat, else the tone longest unheard."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from arranger.reduce.worth.note_table import cover
from arranger.rows import HOLD, REST
from arranger.song.time import seconds_at
from tests.benchmarks.lines import sounding
from tests.benchmarks.voice_figures import in_table, steps_at

if TYPE_CHECKING:
    from arranger.columns import Bools, Ints
    from arranger.conversion import Conversion
    from arranger.rows import Row


def toy_rows(conversion: Conversion, is_tune: Bools, key_ends: Ints) -> tuple[Row, Row]:
    """Return the tune, and turns of the notes that sound, on the steps of a conversion.

    Each turn takes a step: on a beat the lowest note, on other steps the pitch class that was unheard
    longest in either voice. A note sounds until its key comes up, at a tick of ``key_ends``: what a
    pedal holds on through the next harmony would take turns that are wrong.
    """
    grid = conversion.grid
    onset = grid.onset_steps[is_tune]
    after = np.append(np.unique(onset), grid.steps)
    end = np.minimum(grid.end_steps[is_tune], after[np.searchsorted(after, onset, side="right")])
    tune = cover(onset, end, np.flatnonzero(is_tune), grid.steps)
    up = np.rint(steps_at(conversion, seconds_at(conversion.song, key_ends)))
    up = np.maximum(up, grid.onset_steps + 1)
    beat = max(round(1 / float(grid.step_beats)), 1)
    heads = {bar.first_step for bar in grid.bars}
    rows: tuple[list[int], list[int]] = ([], [])
    last = np.full(12, -1)
    before, head = -1, 0
    for step, ids in enumerate(sounding(conversion)):
        head = step if step in heads else head
        now = int(tune[step])
        pitch = in_table(conversion, now) if now >= 0 else REST
        rows[0].append(HOLD if now == before and now >= 0 else pitch)
        before = now
        last[pitch % 12] = step if now >= 0 else last[pitch % 12]
        others = sorted(in_table(conversion, i) for i in ids if up[i] > step and not is_tune[i])
        if not others:
            rows[1].append(REST)
            continue
        turn = others[0] if (step - head) % beat == 0 else min(others, key=lambda p: last[p % 12])
        last[turn % 12] = step
        rows[1].append(turn)
    return tuple(rows[0]), tuple(rows[1])
