"""Writes the demo songs: music of an invented harbour town on the day of its boat parade.

All tunes are original, made for this demo, and under the project's licence. Run
``python demo_songs/make_songs.py`` to write them again; the same bytes come out every time.
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

from notation import Line, Piece, write_piece
from performance import write_performance

QUARTER = Fraction(1)
SIXTEENTH = Fraction(1, 4)
TRIPLET = Fraction(1, 3)


def repeated(text: str, times: int) -> str:
    """Return a passage several times over."""
    return " ".join([text] * times)


def boat_parade() -> Piece:
    """Return a piece for full band with drums, A A B A; the bridge is the guitar's."""
    tune_a = """
        D5:2! G5:2 F#5:1 G5:1 A5:2 | B5:3! A5:1 G5:2 D5:2 | E5:2 G5:2 F#5:1 E5:1 D5:2 | B4:6 r:2 |
        C5:2! E5:2 D5:1 C5:1 B4:2 | A4:2 D5:2 B4:3 r:1 | C5:1 D5:1 E5:1 F#5:1 G5:2 A5:2 | G5:6 r:2
    """
    tune_b = """
        E5:1! D5:1 E5:1 G5:1 F#5:2 D5:2 | B4:4 r:1 B4:1 C5:1 D5:1 |
        E5:1 F#5:1 G5:1 E5:1 F#5:2 B5:2 | G5:2 E5:4 r:2 | A5:2! G5:1 F#5:1 E5:2 C5:2 |
        B4:2 E5:2 G5:4 | F#5:2 E5:1 D5:1 C#5:2 E5:2 | D5:6 r:2
    """
    bass_a = """
        G2:2 D3:2 G2:2 D3:2 | G2:2 D3:2 E2:2 B2:2 | C3:2 G2:2 C3:2 C#3:2 | D3:2 G2:2 B2:2 D3:2 |
        C3:2 G2:2 G2:2 B2:2 | D3:2 A2:2 G2:2 B2:2 | A2:2 E3:2 D3:2 D2:2 | G2:2 D3:2 G2:2 r:2
    """
    bass_b = """
        E2:2 B2:2 E2:2 B2:2 | G2:2 D3:2 B2:2 F#2:2 | C3:2 G2:2 B2:2 F#2:2 | E2:2 B2:2 E3:2 B2:2 |
        A2:2 E3:2 A2:2 E3:2 | E2:2 B2:2 E3:2 B2:2 | A2:2 C#3:2 E3:2 A2:2 | D3:2 C3:2 B2:2 A2:2
    """
    strings_a = """
        D4+G4+B4:8 | D4+G4+B4:4 E4+G4+B4:4 | E4+G4+C5:8 | D4+G4+B4:8 | E4+G4+C5:4 D4+G4+B4:4 |
        D4+F#4+A4:4 D4+G4+B4:4 | C4+E4+A4:4 D4+F#4+A4:4 | D4+G4+B4:8
    """
    strings_b = """
        E4+G4+B4:8 | D4+G4+B4:4 D#4+F#4+B4:4 | E4+G4+C5:4 D#4+F#4+B4:4 | E4+G4+B4:8 |
        E4+A4+C5:8 | E4+G4+B4:8 | E4+A4+C#5:8 | F#4+A4+C5:8
    """
    piano_a = off_beats(
        "B3+D4 B3+D4 B3+D4 B3+E4 C4+E4 C4+E4 B3+D4 B3+D4 C4+E4 B3+D4 A3+D4 B3+D4 A3+C4 A3+D4 "
        "B3+D4 B3+D4"
    )
    piano_b = off_beats(
        "B3+E4 B3+E4 B3+D4 B3+D#4 C4+E4 B3+D#4 B3+E4 B3+E4 C4+E4 C4+E4 B3+E4 B3+E4 C#4+E4 C#4+E4 "
        "C4+F#4 C4+F#4"
    )
    beat = "kick+hat:1! hat:1 snare+hat:1 hat:1 kick+hat:1 kick+hat:1 snare+hat:1 open:1"
    first = "kick+crash:1! hat:1 snare+hat:1 hat:1 kick+hat:1 kick+hat:1 snare+hat:1 hat:1"
    fill = "kick+hat:1! hat:1 snare+hat:1 hat:1 hightom:1 midtom:1 lowtom:1 snare+clap:1"
    bridge = "kick+tamb:1! tamb:1 snare+tamb:1 tamb:1 kick+tamb:1 tamb:1 snare+tamb:1 tamb:1"
    drums_a = f"{first} {repeated(beat, 6)} {fill}"
    drums_b = f"{first} {repeated(bridge, 6)} {fill}"
    rest = repeated("r:8", 8)
    return Piece(
        file="boat_parade",
        title="Boat Parade",
        bpm=126,
        lines=(
            Line(
                name="trumpet", program=56, channel=0, velocity=98, volume=110, pan=54,
                text=f"{tune_a} {tune_a} {rest} {tune_a}",
            ),
            Line(
                name="guitar", program=27, channel=1, velocity=92, pan=80,
                text=f"{rest} {rest} {tune_b} {rest}",
            ),
            Line(
                name="strings", program=48, channel=2, velocity=66, volume=80,
                text=f"{strings_a} {strings_a} {strings_b} {strings_a}",
            ),
            Line(
                name="piano", channel=3, velocity=70, volume=84, gate=Fraction(1, 2),
                text=f"{piano_a} {piano_a} {piano_b} {piano_a}",
            ),
            Line(
                name="bass", program=33, channel=4, velocity=90, volume=104,
                text=f"{bass_a} {bass_a} {bass_b} {bass_a}",
            ),
            Line(
                name="drums", channel=9, velocity=90, gate=Fraction(1, 2),
                text=f"{drums_a} {drums_a} {drums_b} {drums_a}",
            ),
        ),
    )  # fmt: skip


def off_beats(chords: str) -> str:
    """Return each chord twice, on the second half of two beats."""
    return " ".join(f"r:1 {chord}:1 r:1 {chord}:1" for chord in chords.split())


def lantern_hymn() -> Piece:
    """Return four parts in hymn style with a pickup and a slowing last line."""
    soprano = """
        F4:1 | A4:1 A4:1 A#4:1 C5:1 | C5:1 A#4:1 A4:1 F4:1 | G4:1 A4:1 A#4:1 A4:1 | G4:3
        C5:1 | D5:1 C5:1 A#4:1 A4:1 | A#4:1 A4:1 G4:1 A4:1 | F4:1 G4:1/2 A4:1/2 G4:1 E4:1 | F4:3
        A4:1 | A4:1 B4:1 C5:1 D5:1 | E5:1 D5:1 C5:1 C5:1 | F5:1 E5:1 D5:1 C5:1/2 A#4:1/2 | A4:3
        C5:1 | D5:1 A#4:1 C5:1 A4:1 | A#4:1 G4:1 A4:1 F4:1 | G4:1 A4:1/2 A#4:1/2 A4:1 G4:1 | F4:3
    """
    alto = """
        C4:1 | F4:1 F4:1 F4:1 F4:1 | F4:1 E4:1 F4:1 D4:1 | E4:1 F4:1 F4:1 F4:1 | E4:3
        F4:1 | F4:1 F4:1 E4:1 F4:1 | D4:1/2 E4:1/2 F4:1 E4:1 E4:1 | D4:1 D4:1 D4:1 C4:1 | C4:3
        F4:1 | F4:1 F4:1 E4:1 F4:1 | G4:1 F4:1 E4:1 F4:1 | F4:1 G4:1 F4:1 F4:1/2 E4:1/2 | F4:3
        F4:1 | F4:1 F4:1 E4:1 F4:1 | D4:1 E4:1 E4:1 D4:1 | D4:1 E4:1/2 F4:1/2 F4:1 E4:1 | C4:3
    """
    tenor = """
        A3:1 | C4:1 C4:1 D4:1 C4:1 | A3:1 G3:1 C4:1 A3:1 | C4:1 C4:1 D4:1 C4:1 | C4:3
        A3:1 | A#3:1 A3:1 C4:1 C4:1 | A#3:1 C4:1 C4:1 C#4:1 | A3:1 A#3:1 A#3:1 G3:1 | A3:3
        C4:1 | D4:1 D4:1 C4:1 A#3:1 | C4:1 B3:1 C4:1 A3:1 | A3:1 C4:1 A#3:1 C4:1 | C4:3
        A3:1 | A#3:1 D4:1 C4:1 C4:1 | A#3:1 C4:1 C#4:1 A3:1 | A#3:1 C4:1/2 D4:1/2 C4:1 A#3:1 | A3:3
    """
    bass = """
        F3:1 | F3:1 E3:1 D3:1 A2:1 | C3:1 C3:1 F3:1 D3:1 | C3:1 F3:1 A#2:1 F3:1 | C3:3
        F3:1 | A#2:1 F3:1 C3:1 F3:1 | G3:1 A3:1 C4:1 A3:1 | D3:1 A#2:1 C3:1 C3:1 | F2:3
        F3:1 | D3:1 G3:1 C3:1 A#2:1 | C3:1 G3:1 A3:1 F3:1 | D3:1 C3:1 D3:1/2 E3:1/2 F3:1/2 C3:1/2 |
        F3:3 F3:1 | A#2:1 G3:1 C3:1 F3:1 | G3:1 C3:1 A3:1 D3:1 | A#2:1 A2:1/2 G2:1/2 C3:1 C3:1 |
        F2:3
    """
    voices = {"soprano": soprano, "alto": alto, "tenor": tenor, "bass": bass}
    return Piece(
        file="lantern_hymn",
        title="Lantern Hymn",
        bpm=88,
        pickup=Fraction(1),
        tempo_changes=((Fraction(57), 80), (Fraction(59), 72), (Fraction(61), 60)),
        lines=tuple(
            Line(name=name, text=text, unit=QUARTER, program=52, channel=channel, velocity=80)
            for channel, (name, text) in enumerate(voices.items())
        ),
    )


def ferry_waltz() -> Piece:
    """Return a waltz whose tune runs in triplets over accordion chords."""
    tune = """
        A4:3 C5:1 B4:1 A4:1 E5:3 | D5:1 C5:1 B4:1 C5:6 | B4:3 D5:1 C5:1 B4:1 F5:3 |
        E5:1 D5:1 C5:1 B4:6 | A4:3 C5:1 D5:1 E5:1 A5:3 | G5:1 F5:1 E5:1 F5:6 |
        E5:1 D5:1 C5:1 B4:1 C5:1 D5:1 G#4:3 | A4:9
        C5:3 E5:1 D5:1 C5:1 G5:3 | F5:1 E5:1 D5:1 E5:6 | D5:3 F5:1 E5:1 D5:1 A5:3 |
        G5:1 F5:1 E5:1 D5:6 | C5:1 E5:1 A5:1 G5:3 F5:3 | E5:1 D5:1 C5:1 F5:3 D5:3 |
        C5:1 B4:1 A4:1 B4:1 C5:1 D5:1 E5:1 D5:1 B4:1 | A4:6 r:3
    """
    roots = "A2 E2 G#2 E2 A2 D3 E2 A2 C3 G2 B2 G2 F2 D3 E2 A2"
    chords = (
        "C4+E4 C4+E4 B3+D4 B3+D4 C4+E4 A3+D4 B3+D4 C4+E4 E4+G4 E4+G4 D4+F4 B3+F4 A3+C4 A3+D4 "
        "B3+D4 C4+E4"
    )
    oom = " ".join(f"{root}:1! r:2" for root in roots.split())
    pah = " ".join(f"r:1 {chord}:1 {chord}:1" for chord in chords.split())
    drums = repeated("kick:1! pedal:1 pedal:1", 15) + " kick:1! triangle:2"
    return Piece(
        file="ferry_waltz",
        title="Ferry Waltz",
        bpm=138,
        metre=(3, 4),
        lines=(
            Line(name="fiddle", text=repeated(tune, 2), unit=TRIPLET, program=40, velocity=94),
            Line(
                name="accordion", text=repeated(pah, 2), unit=QUARTER, program=21, channel=1,
                velocity=62, volume=80, gate=Fraction(1, 2),
            ),
            Line(
                name="double bass", text=repeated(oom, 2), unit=QUARTER, program=32, channel=2,
                velocity=88, gate=Fraction(9, 10),
            ),
            Line(
                name="kit", text=repeated(drums, 2), unit=QUARTER, channel=9, velocity=70,
                gate=Fraction(1, 4),
            ),
        ),
    )  # fmt: skip


def lighthouse_stairs() -> Piece:
    """Return a calm tune over stairs that leave the pitch table at both ends."""
    stairs = """
        C1:1 G1:1 C2:1 E2:1 | G2:1 C3:1 E3:1 G3:1 | C4:1 E4:1 G4:1 C5:1 | E5:1 G5:1 C6:1 E6:1 |
        G6:1 C7:1 E7:1 G7:1 | C8:4 |
        D#8:1 A#7:1 G7:1 D#7:1 | A#6:1 G6:1 D#6:1 A#5:1 | G5:1 D#5:1 A#4:1 G4:1 |
        D#4:1 A#3:1 G3:1 D#3:1 | A#2:1 G2:1 D#2:1 A#1:1 | G1:1 D#1:1 A#0:2
    """
    tune = """
        r:4 | E4:2 D4:2 | C4:3 D4:1 | E4:2 G4:2 | A4:1 G4:1 E4:2 | C4:4 |
        D#4:2 F4:2 | G4:3 F4:1 | D#4:2 C4:2 | D4:1 D#4:1 F4:2 | D#4:2 D4:2 | C4:4
    """
    return Piece(
        file="lighthouse_stairs",
        title="Lighthouse Stairs",
        bpm=112,
        metre=(2, 4),
        lines=(
            Line(name="keeper's tune", text=repeated(tune, 2), program=71, velocity=96),
            Line(name="stairs", text=repeated(stairs, 2), program=10, channel=1, velocity=76),
        ),
    )


def net_menders() -> Piece:
    """Return dense repeated notes: a mandolin that never stops, over a droning bass."""
    tune = " ".join(
        (
            rolled("D5 F5 E5 D5 A5 G5 F5 E5 F5 D5 A#4 D5"),
            "C#5:1! C#5:1 E5:1 E5:1 A5:1 A5:1 G5:1 G5:1 E5:4 r:4",
            rolled("D5 E5 F5 G5 A5 A5 A#5 A5"),
            "G5:1! G5:1 F5:1 F5:1 E5:1 E5:1 D5:1 D5:1 C#5:1 C#5:1 D5:1 D5:1 E5:1 E5:1 C#5:1 C#5:1",
            "D5:1! D5:1 D5:1 D5:1 D5:8 r:4",
        )
    )
    bass = """
        D3:2 D3:2 A2:2 D3:2 | F3:2 F3:2 C3:2 C3:2 | A#2:2 A#2:2 A#2:2 G2:2 | A2:2 A2:2 A2:2 A2:2 |
        D3:2 C3:2 A#2:2 G2:2 | F2:2 F2:2 G2:2 A2:2 | A#2:2 G2:2 A2:2 A2:2 | D3:2 A2:2 D2:4
    """
    drums = repeated("kick:1 block:1 snare:1 block:1 kick:1 kick:1 snare:1 block:1", 16)
    return Piece(
        file="net_menders",
        title="Net Menders' Reel",
        bpm=116,
        lines=(
            Line(name="mandolin", text=repeated(tune, 2), unit=SIXTEENTH, program=25, velocity=92),
            Line(name="bass", text=repeated(bass, 2), program=32, channel=1, velocity=86),
            Line(name="drums", text=drums, channel=9, velocity=76),
        ),
    )


def rolled(pitches: str) -> str:
    """Return each pitch four times, the first stressed."""
    return " ".join(f"{name}:1! {name}:1 {name}:1 {name}:1" for name in pitches.split())


def two_gulls() -> Piece:
    """Return two parts in imitation, all within the pitch table: nothing need be lost."""
    right = """
        r:1 D5:1 E5:1 F5:1 G5:1 E5:1 F5:1 D5:1 | C#5:2 A4:2 D5:4 |
        E5:1 F5:1 G5:1 E5:1 F5:2 D5:2 | C5:1 D5:1 E5:1 C5:1 D5:2 A#4:2 |
        A4:2 C5:2 F5:2 E5:2 | D5:1 C5:1 A#4:1 D5:1 C5:4 |
        r:1 C5:1 D5:1 E5:1 F5:1 D5:1 E5:1 C5:1 | B4:2 G4:2 C5:4 |
        D5:1 E5:1 F5:1 D5:1 E5:1 F5:1 G5:1 E5:1 | F5:1 G5:1 A5:1 F5:1 G5:2 C#5:2 |
        D5:1 A5:1 G5:1 F5:1 E5:1 D5:1 C#5:1 E5:1 | D5:8
    """
    left = """
        D3:4 D4:2 A3:2 | r:1 D4:1 E4:1 F4:1 G4:1 E4:1 F4:1 D4:1 |
        C#4:2 A3:2 D4:1 C4:1 A#3:1 A3:1 | G3:2 F3:2 G3:1 F3:1 E3:1 G3:1 |
        F3:1 G3:1 A3:1 F3:1 A#3:1 G3:1 C4:1 A#3:1 | A3:2 G3:2 A3:1 G3:1 F3:2 |
        E3:2 F3:2 C4:2 G3:2 | r:1 G3:1 A3:1 B3:1 C4:1 A3:1 B3:1 G3:1 |
        F3:2 B3:2 C4:2 E3:2 | D3:2 F3:2 E3:1 D3:1 E3:1 A3:1 |
        F3:2 A#3:2 G3:2 A3:2 | D3:8
    """
    return Piece(
        file="two_gulls",
        title="Two Gulls",
        bpm=96,
        lines=(
            Line(name="right hand", text=right, program=6, velocity=88),
            Line(name="left hand", text=left, program=6, channel=1, velocity=84),
        ),
    )


def gangway_shuffle() -> Piece:
    """Return a swung tune with ride cymbal and walking bass, in triplet steps."""
    tune = """
        G4:2 A#4:1 C5:2 C#5:1 D5:2 A#4:1 G4:3 | r:2 F4:1 G4:3 A#4:2 G4:1 r:3 |
        G4:2 A#4:1 C5:2 C#5:1 D5:2 F5:1 D5:3 | C5:2 A#4:1 C5:6 r:3 |
        D#5:2 D5:1 C5:2 A#4:1 G4:2 A#4:1 C5:3 | D5:2 A#4:1 G4:3 F4:2 G4:1 r:3 |
        A#4:2 C5:1 C#5:2 D5:1 F5:2 D5:1 C5:2 A#4:1 | G4:9 r:3
    """
    bass = """
        G2:3 A#2:3 C3:3 D3:3 | G2:3 D3:3 F3:3 D3:3 | G2:3 A#2:3 C3:3 D3:3 | F2:3 A2:3 C3:3 A2:3 |
        C3:3 D#3:3 G3:3 D#3:3 | G2:3 A#2:3 D3:3 A#2:3 | D#3:3 C3:3 D3:3 F#2:3 | G2:3 D3:3 G2:3 r:3
    """
    chords = " ".join(
        f"r:2 {chord}:1 r:3 r:2 {chord}:1 r:3"
        for chord in (
            "A#3+D4+F4", "A#3+D4+F4", "A#3+D4+F4", "A3+C4+F4",
            "A#3+D#4+G4", "A#3+D4+F4", "A3+C4+F#4", "A#3+D4+G4",
        )
    )  # fmt: skip
    drums = repeated("ride+kick:3 ride+pedal:2 ride:1 ride:3 ride+pedal:2 ride:1", 16)
    return Piece(
        file="gangway_shuffle",
        title="Gangway Shuffle",
        bpm=132,
        lines=(
            Line(name="clarinet", text=repeated(tune, 2), unit=TRIPLET, program=71, velocity=94),
            Line(
                name="piano", text=repeated(chords, 2), unit=TRIPLET, channel=1, velocity=64,
                volume=84,
            ),
            Line(
                name="walking bass", text=repeated(bass, 2), unit=TRIPLET, program=32, channel=2,
                velocity=88,
            ),
            Line(name="kit", text=drums, unit=TRIPLET, channel=9, velocity=72),
        ),
    )  # fmt: skip


def main() -> None:
    """Write all demo songs beside this script."""
    folder = Path(__file__).resolve().parent
    pieces = (
        boat_parade(), lantern_hymn(), ferry_waltz(), lighthouse_stairs(), net_menders(),
        two_gulls(), gangway_shuffle(),
    )  # fmt: skip
    for piece in pieces:
        print(write_piece(piece, folder).name)
    print(write_performance(folder).name)


if __name__ == "__main__":
    main()
