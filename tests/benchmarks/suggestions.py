"""Whether advice helps and never harms: every suggestion for every song of some folders, as a command gives it.

python -m tests.benchmarks.suggestions FOLDER... [--every N] [--engine NAME]

Each suggested line is read as the command line reads it and converted from the file anew. What it does is
then counted from the two ledgers alone, apart from how the report counts: a suggestion does harm if a
note of the tune or the bass was heard and is dropped, or if more is lost: of notes weighed by line (tune 3, bass
2, harmony 1, drums 0.7), those whose pitch class isn't heard within their beats. Goal: 0 that do harm.
"""

from __future__ import annotations

import argparse
import shlex
import time
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING

from arranger.conversion import convert
from arranger.engine import load_engine
from arranger.options import read_command_line
from arranger.report import suggestions
from arranger.report.heard.hearing import LINES, asked_lines
from arranger.report.summaries.command import CommandRun
from arranger.rows import tones
from arranger.song import read_song

if TYPE_CHECKING:
    from arranger.conversion import Conversion
    from arranger.report import Suggestion

WEIGHTS = {"tune": 3.0, "bass": 2.0, "harmony": 1.0, "drums": 0.7}


def converted(line: str) -> Conversion:
    """Return what a suggested command line gives."""
    words = shlex.split(line)
    assert words[:2] == ["arranger", "convert"]
    settings = read_command_line(shlex.join(words[5:] if words[3:4] == ["-o"] else words[3:]))
    return convert(read_song(words[2], settings.read), load_engine(settings.engine), settings)


def plainly_lost(conversion: Conversion, lines: list[int]) -> float:
    """Return the weight of all notes whose pitch class isn't heard in their beats, note by note."""
    grid, ledger = conversion.grid, conversion.reduction.ledger
    rows = [tones(conversion.sheet.voice1), tones(conversion.sheet.voice2)]
    per_beat = max(round(1 / grid.step_beats), 1)
    lost = 0.0
    for note, line, entry in zip(conversion.song.notes, lines, ledger.entries, strict=True):
        if line < 0:
            continue
        weight = WEIGHTS[LINES[line]]
        if LINES[line] != "harmony":
            lost += weight * (entry.outcome == "dropped")
            continue
        start, end = int(grid.onset_steps[note.id]), int(grid.end_steps[note.id])
        first = start - start % per_beat
        last = min(max(end, first + per_beat), grid.steps)
        wanted = (note.pitch + ledger.transpose) % 12
        heard = any(
            tone is not None and tone % 12 == wanted for row in rows for tone in row[first:last]
        )
        lost += weight * (not heard)
    return lost


def harm(now: Conversion, then: Conversion, lines: list[int]) -> str:
    """Return what a suggestion does that it must not; empty if nothing."""
    pairs = zip(now.reduction.ledger.entries, then.reduction.ledger.entries, lines, strict=True)
    gone = Counter(
        LINES[line]
        for was, now_is, line in pairs
        if line >= 0 and was.outcome != "dropped" and now_is.outcome == "dropped"
    )
    if gone["tune"] or gone["bass"]:
        return f"{gone['tune']} of the tune and {gone['bass']} of the bass are lost"
    before, after = plainly_lost(now, lines), plainly_lost(then, lines)
    return f"more is lost: {before:.1f} to {after:.1f}" if after > before else ""


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--offset", type=int, default=0)
    parser.add_argument("--engine", default="twin-phase")
    chosen = parser.parse_args()
    songs = advised = harmful = 0
    made: Counter[str] = Counter()
    seconds = 0.0
    gains: list[float] = []
    files = sorted(path for folder in chosen.folders for path in folder.glob("*.mid"))
    for path in files[chosen.offset :: chosen.every]:
        run = CommandRun(str(path))
        now = converted(f"{run.line(read_command_line(f'--engine {chosen.engine}'))}")
        started = time.process_time()
        found: tuple[Suggestion, ...] = suggestions(now, run=run)
        seconds += time.process_time() - started
        songs += 1
        advised += bool(found)
        lines = asked_lines(now).line.tolist()
        for each in found:
            made[each.options.split()[0]] += 1
            why = harm(now, converted(each.command), lines)
            harmful += bool(why)
            print(f"{path.name} {each.options}: {each.effect}, {each.loss_change:+.1%} {why}")
        if found:
            gains.append(-found[0].loss_change)
    print(f"{songs} songs, {advised} with advice; {harmful} of {made.total()} suggestions do harm; "
          f"{dict(made.most_common())}; {seconds / songs:.2f} s a song")  # fmt: skip
    if gains:
        print(f"the first takes away {sorted(gains)[len(gains) // 2]:.0%} of the loss (median)")


if __name__ == "__main__":
    main()
