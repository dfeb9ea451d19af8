"""Random sheets, as wild as the model allows."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from random import Random
from typing import TYPE_CHECKING

from hypothesis import strategies as st

from arranger.rows import HOLD, REST
from arranger.sheet import Comment, Sheet, SheetBar
from arranger.sheet.form.text import BELOW, HEADER
from arranger.sheet.model import SheetSound, SoundPart
from arranger.sheet.record.packed_sheet import pack_record

if TYPE_CHECKING:
    from collections.abc import Sequence

texts = st.text(max_size=20) | st.sampled_from(
    ['a "quoted" # title', "two\nlines", "\u202eright to left", " edge ", "\\u{41}", "#", "\ud800"]
)
steps_of_a_beat = st.sampled_from([Fraction(1, n) for n in (1, 2, 3, 4, 6, 8, 12)])
DRUMS = ("kick", "snare", "hat", "low-tom", "crash2")
randoms = st.integers(0, 2**32).map(Random)
"""What cells are made from: drawn one by one they would take most of the time."""
comment_texts = st.text(
    st.characters(exclude_characters="\n\r", exclude_categories=["Cs"]), max_size=12
).map(str.rstrip)


kinds = st.sampled_from(["kick", "noise"])
settings_of_a_sound = st.lists(st.integers(0, 999_999_999), min_size=1, max_size=4).map(tuple)
lengths_in_microseconds = st.integers(1, 10_000_000) | st.integers(1, 1000).map(
    lambda ms: ms * 1000
)
parts = st.builds(SoundPart, kinds, settings_of_a_sound, lengths_in_microseconds)
last_parts = parts | parts.map(lambda part: part._replace(microseconds=0))
sounds = st.lists(
    st.builds(
        lambda name, before, last: SheetSound(name, (*before, last)),
        st.sampled_from(["kick", "snare", "clank", "then", "for-ms", "a-2", "x"]),
        st.lists(parts, max_size=3),
        last_parts,
    ),
    max_size=4,
    unique_by=lambda sound: sound.name,
).map(tuple)

little = Sheet(
    title="pier", engine="twin-phase", step_beats=Fraction(1), bars=(SheetBar(1, 2, 2, 4),),
    voice1=(60, 62), voice2=(48, HOLD), drums=("kick", None), tempo=90.0,
)  # fmt: skip
records = st.integers(-12, 12).map(lambda moved: pack_record(little, moved))


@st.composite
def bars(draw: st.DrawFn) -> SheetBar:
    numerator, denominator = draw(st.sampled_from([(4, 4), (3, 4), (6, 8), (7, 8), (2, 2)]))
    return SheetBar(
        draw(st.integers(0, 400) | st.integers(-(10**8), 10**8)),
        draw(st.integers(1, 17)),
        numerator,
        denominator,
    )


@st.composite
def comments(draw: st.DrawFn, count: int, lines: list[int]) -> tuple[Comment, ...]:
    """Comments in the order of their places, one at most beside a line; ``lines`` of the header."""
    above = st.builds(
        Comment, st.integers(0, count - 1), comment_texts, st.integers(0, BELOW), st.just(False)
    ) | st.builds(Comment, st.just(count), comment_texts, st.just(0), st.just(False))
    header_rows = st.sampled_from([*lines, len(HEADER) - 1])
    header = st.builds(Comment, st.just(-1), comment_texts, header_rows, st.just(False))
    beside_header = draw(st.sets(st.sampled_from(lines)))
    places = draw(st.sets(st.tuples(st.integers(0, count - 1), st.integers(0, BELOW - 1))))
    places |= {(-1, row) for row in beside_header}
    beside = [Comment(bar, draw(comment_texts), row, True) for bar, row in sorted(places)]
    found = [*draw(st.lists(above, max_size=4)), *draw(st.lists(header, max_size=2)), *beside]
    return tuple(sorted(found, key=lambda c: (c.bar, c.row, c.beside)))


def some_row(rng: Random, pitches: Sequence[int], steps: int) -> tuple[int, ...]:
    """Return a row in which few or many cells start a tone, of all pitches or a few."""
    share, some = rng.choice((0.0, 0.1, 0.5, 0.9)), rng.choices(pitches, k=rng.choice((1, 3, 99)))
    silent = rng.choice(((HOLD,), (REST,), (HOLD, REST)))
    return tuple(rng.choice(some if rng.random() < share else silent) for _ in range(steps))


def some_hits(rng: Random, names: Sequence[str], steps: int) -> tuple[str | None, ...]:
    """Return a drum row with few or many hits."""
    share = rng.choice((0.0, 0.2, 0.5, 0.9))
    return tuple(rng.choice(names) if rng.random() < share else None for _ in range(steps))


@st.composite
def sheets(draw: st.DrawFn, *, commented: bool = True) -> Sheet:
    found = draw(st.lists(bars(), min_size=1, max_size=6))
    steps = sum(bar.steps for bar in found)
    rng = draw(randoms)
    own = draw(sounds)
    tempo = draw(st.none() | st.floats(1.0, 1e4))
    lengths = st.integers(0, 65535)
    length = draw(lengths if tempo is None else st.none() | lengths)
    words = ["title", "engine", "step", *(["length"] if length is not None else [])]
    lines = [HEADER.index(word) for word in [*words, *(["tempo"] if tempo else [])]]
    lines += [len(HEADER) + place for place in range(len(own))]
    sheet = Sheet(
        title=draw(texts),
        engine=draw(texts),
        step_beats=draw(steps_of_a_beat),
        bars=tuple(found),
        voice1=some_row(rng, range(128), steps),
        voice2=some_row(rng, range(128), steps),
        drums=some_hits(rng, DRUMS, steps),
        sounds=own,
        loop_step=draw(st.none() | st.integers(0, steps - 1)),
        source_file=draw(texts),
        source_sha256=draw(texts),
        settings=draw(texts),
        tempo=tempo,
        length=length,
        digest=draw(st.sampled_from(["", "00ff00ff00ff00ff"])),
        generated=draw(st.none() | records),
        comments=draw(comments(len(found), lines)) if commented else (),
    )
    return draw(structured(sheet))


@st.composite
def structured(draw: st.DrawFn, sheet: Sheet) -> Sheet:
    """Sections, and bars that are as earlier ones, in a sheet; its bar numbers may count on."""
    section = st.sampled_from(["", "", "A", "B-2", "Br\u00fccke"])
    found = [bar._replace(section=draw(section)) for bar in sheet.bars]
    if draw(st.booleans()):
        found = [bar._replace(number=found[0].number + at) for at, bar in enumerate(found)]
    rows = [
        (sheet.voice1[start:end], sheet.voice2[start:end], sheet.drums[start:end])
        for start, end in pairwise(sheet.bar_starts)
    ]
    back = draw(st.integers(1, 3))
    for index in range(1, len(found)):
        others = [other for other in (index - back, draw(st.integers(0, index - 1))) if other >= 0]
        other = draw(st.none() | st.sampled_from(others))
        numbers = [bar.number for bar in found[:index]]
        if other is None or numbers[other] in numbers[other + 1 :]:
            continue  # a text couldn't name it
        bar = found[index]
        found[index] = SheetBar(bar.number, *found[other][1:4], other, bar.section)
        rows[index] = rows[other]
    steps = sum(bar.steps for bar in found)
    return replace(
        sheet,
        bars=tuple(found),
        voice1=tuple(cell for bar in rows for cell in bar[0]),
        voice2=tuple(cell for bar in rows for cell in bar[1]),
        drums=tuple(cell for bar in rows for cell in bar[2]),
        loop_step=None if sheet.loop_step is None else min(sheet.loop_step, steps - 1),
        comments=tuple(
            comment
            for comment in sheet.comments
            if comment.row in (0, BELOW)
            or not 0 <= comment.bar < len(found)
            or found[comment.bar].as_bar is None
        ),
    )
