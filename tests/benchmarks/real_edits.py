"""Whether edits of real songs outlive whatever else is asked of the song.

    python -m tests.benchmarks.real_edits FOLDER [--every N] [--seed N]

Each song is converted, edited at random (rows, marks, sections, comments, bars put in and out) and
converted again: in other keys, steps, textures, with fewer drums, in part, and for other engines. In each
merged sheet every step that a hand changed is looked for; its text is read back, checked against the
engine, and merged once more, which must change nothing; each note of the song has its account. Goal:
nothing is lost, no error.
"""

from __future__ import annotations

import argparse
import random
from fractions import Fraction
from pathlib import Path

from arranger.conversion import Conversion, convert
from arranger.conversion.by_hand import revise
from arranger.engine import load_engine
from arranger.errors import ArrangerError
from arranger.reduce import check_conservation
from arranger.settings import GridSettings, ReduceSettings, Settings
from arranger.sheet import format_sheet, parse
from arranger.sheet.check import check_text
from arranger.sheet.merging.merge import Merge, merge
from arranger.sheet.record.base import base_of
from arranger.song import read_song
from tests.sheet import edits
from tests.sheet.test_merge import check_no_edit_lost, tagged


def choices(step: Fraction) -> dict[str, Settings]:
    other = Fraction(1, 3) if step.denominator % 3 else Fraction(1, 4)
    return {
        "two higher": Settings(reduce=ReduceSettings(transpose=2)),
        "five lower": Settings(reduce=ReduceSettings(transpose=-5)),
        "best key": Settings(reduce=ReduceSettings(transpose="auto")),
        "finer": Settings(grid=GridSettings(step=step / 2)),
        "coarser": Settings(grid=GridSettings(step=min(step * 2, Fraction(1)))),
        "other step": Settings(grid=GridSettings(step=other)),
        "counter": Settings(engine="twin-counter"),
        "alternate": Settings(engine="pc-alternate"),
        "texture": Settings(reduce=ReduceSettings(texture="two-highest")),
        "drums": Settings(reduce=ReduceSettings(drums="light")),
    }


def tried(name: str, then: Conversion, now: Conversion, rng: random.Random) -> Merge:
    """Return a merge of random edits; what goes wrong is an assertion."""
    edited = parse(format_sheet(tagged(edits.edit(rng, then.sheet).sheet)))
    merged = merge(edited, now.sheet, now.engine)
    if name in ("two higher", "finer", "texture", "drums", "part"):  # elsewhere tones may fold
        moved = base_of(now.sheet).transpose or 0
        check_no_edit_lost(edited, merged, moved)
    text = format_sheet(merged.sheet)
    assert parse(text) == merged.sheet
    assert not check_text(text, load_engine).errors
    assert merge(merged.sheet, now.sheet, now.engine).sheet == merged.sheet
    check_conservation(revise(now, merged).reduction.ledger, len(now.song.notes))
    return merged


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    songs = merges = kept = conflicts = wrong = 0
    for path in sorted(asked.folder.rglob("*.mid"))[:: asked.every]:
        song = read_song(path)
        then = convert(song, load_engine("twin-phase"), Settings())
        songs += 1
        for name, settings in choices(then.sheet.step_beats).items():
            rng = random.Random(f"{path.name} {name} {asked.seed}")
            try:
                now = convert(song, load_engine(settings.engine), settings)
            except ArrangerError:
                continue  # it has no such bars
            try:
                merged = tried(name, then, now, rng)
            except AssertionError as error:
                wrong += 1
                print(f"{path.name}, {name}: {error}")
                continue
            merges += 1
            kept += merged.kept
            conflicts += len(merged.conflicts)
    print(f"{songs} songs, {merges} merges: edits in {kept} bars, {conflicts} told, {wrong} wrong")


if __name__ == "__main__":
    main()
