"""Bytes a minute of music before and after packing.

    python -m tests.benchmarks.song_bytes [--texture TEXTURE] [SONG.mid ...]

Before: a full event of six bytes for every step. After: all that the song takes, its tables and
drum sounds included. Then the bytes of the player: with all ways in, and with ``start`` only.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path
from statistics import mean

from arranger.conversion import convert
from arranger.engine import load_engine
from arranger.machine import pack
from arranger.settings import TEXTURES, Settings
from arranger.song import read_song
from arranger.sound.schedule import total_cycles
from tests.machine.alone import binary

DEMO_SONGS = Path(__file__).parents[2] / "demo_songs"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--texture", choices=TEXTURES, default=Settings().reduce.texture)
    parser.add_argument("songs", nargs="*", type=Path)
    asked = parser.parse_args()
    songs = asked.songs or sorted(DEMO_SONGS.glob("*.mid"))
    for name in ("twin-phase", "twin-counter"):
        engine = load_engine(name)
        before = after = minutes = 0.0
        whole: list[int] = []
        least: list[int] = []
        for path in songs:
            settings = Settings(engine=name)
            settings = replace(settings, reduce=replace(settings.reduce, texture=asked.texture))
            sheet = convert(read_song(path), engine, settings).sheet
            unpacked, packed = 6 * sheet.steps, pack(sheet, engine).bytes
            lasts = total_cycles(sheet, engine) / engine.clock_hz / 60
            print(
                f"{name:13} {path.stem:20} {lasts:5.2f} min  "
                f"{unpacked / lasts:6.0f} -> {packed / lasts:5.0f} bytes a minute"
            )
            whole.append(binary(sheet, engine).code_bytes)
            least.append(binary(sheet, engine, entries=("start",)).code_bytes)
            before, after, minutes = before + unpacked, after + packed, minutes + lasts
        print(
            f"{name:13} together {before / minutes:6.0f} -> {after / minutes:5.0f} bytes a minute; "
            f"player {mean(whole):.0f} bytes ({min(whole)} to {max(whole)}), "
            f"start only {mean(least):.0f} ({min(least)} to {max(least)})"
        )


if __name__ == "__main__":
    main()
