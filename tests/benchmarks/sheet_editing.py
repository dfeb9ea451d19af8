"""What editing a sheet by hand costs, and whether any edit is ever lost.

    python -m tests.benchmarks.sheet_editing [CASES]

Times are CPU seconds after imports, best of five, on sheets of 2,000 steps and of three minutes; the
time from save to sound also has the wait for the next look at the file (25 ms on average). Then CASES
random edits (default 10,000) of random sheets are joined with what other settings would generate,
and every step of a row that a hand changed is looked for in the result.
"""

from __future__ import annotations

import random
import sys
import tempfile
import time
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from arranger.cli.render import render_once
from arranger.conversion import convert
from arranger.engine import load_engine
from arranger.rows import HOLD, REST
from arranger.settings import Settings
from arranger.sheet import Sheet, format_sheet, parse, with_digest, write_sheet
from arranger.sheet.check import check_text
from arranger.sheet.merging.merge import merge
from arranger.sheet.model import Generated
from arranger.sheet.record.base import base_of
from arranger.sheet.record.packed_sheet import pack_record, unpack_record
from arranger.sheet.watch import INTERVAL_SECONDS
from arranger.song import read_song
from tests.sheet import edits
from tests.sheet.test_merge import check_no_edit_lost, tagged

if TYPE_CHECKING:
    from collections.abc import Callable

ENGINE = load_engine("twin-phase")
LENGTH = ENGINE.nearest_step_length(0.125)


def seconds(work: Callable[[], object]) -> float:
    found = []
    for _ in range(5):
        begun = time.process_time()
        work()
        found.append(time.process_time() - begun)
    return min(found)


def song_sheet(rng: random.Random, bars: int) -> Sheet:
    """Return a sheet of bars of 16 steps with a tune, a bass and drums on most beats."""
    sheet = edits.generated(rng, bars=bars, step=Fraction(1, 4))
    voice1 = tuple(rng.choice((60, 62, 64, 67, HOLD, HOLD, HOLD, REST)) for _ in sheet.voice1)
    voice2 = tuple(rng.choice((36, 43, HOLD, HOLD, HOLD, REST)) for _ in sheet.voice2)
    drums = tuple(
        rng.choice(("kick", "snare", None)) if step % 4 == 0 else None
        for step in range(sheet.steps)
    )
    return with_digest(
        replace(
            sheet,
            engine="twin-phase",
            length=LENGTH.setting,
            voice1=voice1,
            voice2=voice2,
            drums=drums,
            loop_step=None,
        )
    )


def time_text(rng: random.Random) -> None:
    sheet = song_sheet(rng, 125)
    text = format_sheet(sheet)
    print(f"format  {seconds(lambda: format_sheet(sheet)) * 1000:7.1f} ms for {sheet.steps} steps")
    print(f"parse   {seconds(lambda: parse(text)) * 1000:7.1f} ms")
    print(f"digest  {seconds(lambda: with_digest(sheet)) * 1000:7.1f} ms")
    print(f"check   {seconds(lambda: check_text(text, load_engine)) * 1000:7.1f} ms (goal 35)")
    long = song_sheet(rng, 12_500)
    long_text = format_sheet(long)
    ratio = seconds(lambda: parse(long_text)) / seconds(lambda: parse(text))
    print(f"parse of 100 times as many steps takes {ratio:.0f} times as long")


def time_save_to_sound(rng: random.Random) -> None:
    bars = round(180 / LENGTH.seconds / 16)
    sheet = song_sheet(rng, bars)
    with tempfile.TemporaryDirectory() as folder:
        path, target = Path(folder, "x.duet"), Path(folder, "x.wav")
        write_sheet(replace(sheet, voice1=(67, *sheet.voice1[1:])), path)
        spent = seconds(lambda: render_once(path, target, rate=44_100, speaker="raw", split=False))
    print(
        f"save to sound of {sheet.steps * LENGTH.seconds:.0f} s of music: "
        f"{spent + INTERVAL_SECONDS / 2:.2f} s (goal 0.2)"
    )


def cost_of_the_record(rng: random.Random) -> None:
    sheet = song_sheet(rng, 125)
    assert isinstance(sheet.generated, Generated)
    digests = 11 * len(sheet.bars)
    print(
        f"record  {len(sheet.generated.packed):7} bytes (chance's music, which packs badly; digests of "
        f"bars took {digests})"
    )
    for song in sorted(Path("demo_songs").glob("*.mid")):
        made = convert(read_song(song), ENGINE, Settings()).sheet
        packed = made.generated.packed if isinstance(made.generated, Generated) else ""
        print(f"        {len(packed):7} bytes for {song.stem}, digests {11 * len(made.bars)}")
    edited = replace(sheet, voice1=(67, *sheet.voice1[1:]))
    again = with_digest(replace(sheet, voice2=sheet.voice1))

    def unpacked() -> None:
        unpack_record.cache_clear()
        base_of(edited)

    print(
        f"pack    {seconds(lambda: pack_record(sheet, 0)) * 1000:7.1f} ms for {sheet.steps} steps"
    )
    print(f"unpack  {seconds(unpacked) * 1000:7.1f} ms, with finding which bar is which")
    print(f"merge   {seconds(lambda: merge(edited, again)) * 1000:7.1f} ms")


def look_for_lost_edits(cases: int) -> None:
    kept = conflicts = 0
    for seed in range(cases):
        rng = random.Random(seed)
        then = edits.generated(rng)
        edited = tagged(edits.edit(rng, then).sheet)
        now = edits.generated_again(rng, then)
        merged = merge(parse(format_sheet(edited)), now)
        check_no_edit_lost(edited, merged, base_of(now).transpose or 0)
        kept += merged.kept
        conflicts += len(merged.conflicts)
    print(f"{cases} cases: edits in {kept} bars, none lost; {conflicts} things both sides changed")


def main() -> None:
    rng = random.Random(1)
    time_text(rng)
    time_save_to_sound(rng)
    cost_of_the_record(rng)
    look_for_lost_edits(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)


if __name__ == "__main__":
    main()
