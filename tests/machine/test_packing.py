"""Packed song data read back byte by byte, and what packing saves."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.engine import load_engine
from arranger.errors import SheetError
from arranger.machine import _phrases, pack, phrases, song_bytes
from arranger.machine.packing import AGAIN, END_OF_PIECE, FIRST_PHRASE, RETURN
from arranger.machine.phrases import _BASE, PHRASE_BYTES, _counted, find_phrases
from arranger.rows import HOLD, REST, tones
from arranger.sheet.model import Sheet, SheetBar
from tests.machine.alone import binary
from tests.sound.sheets import sheet_of, sheets

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from arranger.machine.packing import PackedSong

ENGINE = load_engine("twin-phase")
COUNTER = load_engine("twin-counter")
CHUNKS = 5
"""The shortest step of twin-phase is 1,060 passes, 5 chunks of 212."""

Step = tuple[int, int, str | None]

OWN_WORDS = 10
"""What the player keeps on its stack beside the places to go back to."""


def bars_of(*steps: int) -> tuple[SheetBar, ...]:
    return tuple(SheetBar(number, length, length, 4) for number, length in enumerate(steps, 1))


def read(song: PackedSong, rounds: int = 0) -> Iterator[list[int]]:
    """Yield the bytes of each event in turn, as a player would come to them.

    Between two events one phrase ends at most, or the loop goes round; then one begins at most.
    """
    lines = [list(line.values) for line in song.song]
    again = len(lines) if song.loop is None else song.loop
    phrases = [[list(line.values) for line in phrase] for phrase in song.phrases]
    first_kind = FIRST_PHRASE + len(phrases)
    places: list[tuple[list[list[int | str]], int]] = []
    here, at = lines, 0
    while True:
        if here[at] == [RETURN]:
            here, at = places.pop()
        elif here[at] == [AGAIN]:
            assert not places
            here, at = lines, again
            if rounds == 0:
                return
            rounds -= 1
        number = here[at][0]
        assert isinstance(number, int)
        if FIRST_PHRASE <= number < first_kind:
            places.append((here, at + 1))
            here, at = phrases[number - FIRST_PHRASE], 0
            assert len(places) + OWN_WORDS <= song.depth
        values = [value for value in here[at] if isinstance(value, int)]
        assert first_kind <= values[0] < first_kind + len(song.kinds)
        if song.kinds[values[0] - first_kind].values == (END_OF_PIECE,):
            assert not places
            return
        yield values
        at += 1


def unpacked(song: PackedSong, rounds: int = 0) -> list[Step]:
    """Return what sounds on each step, as a player would read it from the bytes."""
    # A number says how many parts lie before.
    names = [line.comment.split()[-1] for _label, parts in song.drums for line in parts]
    first_kind = FIRST_PHRASE + len(song.phrases)
    found: list[Step] = []
    voices = [0, 0]
    for number, *told in read(song, rounds):
        (kind,) = song.kinds[number - first_kind].values
        assert isinstance(kind, int)
        drum = names[(kind & 63) - 1] if kind & 63 else None
        for voice, flag in enumerate((0x80, 0x40)):
            if kind & flag:
                place, odd = divmod(told.pop(0), 2)
                (tone,) = song.tones[place].values
                assert isinstance(tone, int)
                assert odd == 0
                voices[voice] = tone
        assert not told
        steps, rest = divmod(kind >> 8, CHUNKS)
        assert rest == 0 < steps
        found.append((voices[0], voices[1], drum))
        found += [(voices[0], voices[1], None)] * (steps - 1)
    return found


def wanted(sheet: Sheet, rounds: int = 0) -> list[Step]:
    rows = [tones(sheet.voice1), tones(sheet.voice2)]
    found: list[Step] = []
    for step, drum in enumerate(sheet.drums):
        first, second = (
            0 if row[step] is None else ENGINE.pitches[row[step] or 0].setting for row in rows
        )
        found.append((first, second, drum))
    if sheet.loop_step is not None:
        found += found[sheet.loop_step :] * rounds
    return found


@settings(max_examples=80)
@given(st.data())
def test_bytes_say_what_the_sheet_says(data: st.DataObject) -> None:
    length = data.draw(st.integers(1, 5))
    piece = data.draw(sheets(ENGINE, max_steps=length))
    # Bars are repeated in some order, so that there is something to pack.
    repeats = data.draw(st.lists(st.booleans(), min_size=1, max_size=6))
    other = data.draw(sheets(ENGINE, max_steps=length))
    voice1, voice2, drums, bars = (), (), (), ()
    for again in repeats:
        part = piece if again else other
        voice1, voice2, drums = voice1 + part.voice1, voice2 + part.voice2, drums + part.drums
        bars += (part.steps,)
    sheet = replace(
        piece, voice1=voice1, voice2=voice2, drums=drums, bars=bars_of(*bars),
        loop_step=data.draw(st.none() | st.integers(0, sum(bars) - 1)),
    )  # fmt: skip
    song = pack(sheet, ENGINE)
    assert unpacked(song, 2) == wanted(sheet, 2)
    assert song.bytes == song_bytes(sheet, ENGINE) == binary(sheet, ENGINE).song_bytes


A = ([60, HOLD, 62, 64], [48, HOLD, HOLD, HOLD], [None] * 4)
B = ([67, 65, 64, 62], [43, HOLD, 45, HOLD], [None] * 4)


def piece_of(
    *bars: tuple[list[int], list[int], list[None] | list[str | None]], loop_step: int | None = None
) -> Sheet:
    rows: list[list[object]] = [[cell for bar in bars for cell in bar[row]] for row in range(3)]
    sheet = sheet_of(ENGINE, rows[0], rows[1], rows[2], loop_step=loop_step)  # type: ignore[arg-type]
    return replace(sheet, bars=bars_of(*[4] * len(bars)))


def test_bytes_of_a_song_by_hand() -> None:
    song = pack(piece_of(A), ENGINE)
    # C4 C3 (2 steps): its kind and two tones; D4, E4: kind and tone each; the end. The kinds are
    # three with the end, the tones four, two bytes each; and ten words of the player's own.
    assert [line.values for line in song.song] == [(2, 2, 0), (3, 4), (3, 6), (4,)]
    assert [line.values for line in song.kinds] == [(2 * 5 << 8 | 0xC0,), (5 << 8 | 0x80,), (2,)]
    assert [line.comment for line in song.tones] == ["C3", "C4", "D4", "E4"]
    assert song.bytes == 3 + 2 + 2 + 1 + 2 * 3 + 2 * 4 + 2 * OWN_WORDS


def test_bars_that_sound_alike_are_stored_once() -> None:
    song = pack(piece_of(*[A, B] * 6), ENGINE)
    # By hand. A takes 7 bytes (above), B 3 + 2 + 3 + 2; as one phrase 17, its end, and its address.
    assert [line.values for line in song.song] == [(2,)] * 6 + [(3 + len(song.kinds) - 1,)]
    assert len(song.phrases) == 1
    assert song.depth == 1 + OWN_WORDS
    tables = 2 * (len(song.kinds) + len(song.tones) + song.depth)
    assert song.bytes == 7 + 17 + 1 + 2 + tables


def test_a_phrase_of_five_bytes_that_sounds_twice_saves_nothing() -> None:
    """By hand: two tones and one, 3 and 2 bytes; twice 5 are 10, as a phrase 2 + 5 + 3 as well."""
    twice = [60, 62, 64, 60, 62, 65], [48, HOLD, 50, 48, HOLD, 52]
    assert pack(sheet_of(ENGINE, *twice), ENGINE).phrases == ()
    thrice = [60, 62, 64] * 2 + [60, 62, 65], [48, HOLD, 50] * 2 + [48, HOLD, 52]
    assert len(pack(sheet_of(ENGINE, *thrice), ENGINE).phrases) == 1


def test_phrases_hold_phrases() -> None:
    """A, B and twice both: the longest first, from within which what is alike is taken."""
    other = ([69, 71, 72, 74], [45, HOLD, 43, HOLD], [None] * 4)
    bars = [A, B, A, other] * 3 + [A, A, B, B, A, other]
    song = pack(piece_of(*bars), ENGINE)
    assert song.depth >= 2 + OWN_WORDS
    assert unpacked(song) == wanted(piece_of(*bars))


def test_no_phrase_goes_over_where_a_loop_begins() -> None:
    """Though the two bars follow each other each time; there both voices are told."""
    bars = [A, B] * 5
    song = pack(piece_of(*bars, loop_step=20), ENGINE)
    assert song.loop is not None
    assert unpacked(song, 2) == wanted(piece_of(*bars, loop_step=20), 2)


@settings(max_examples=200)
@given(
    st.lists(st.integers(0, 5), min_size=1, max_size=120),
    st.lists(st.integers(1, 3), min_size=6, max_size=6),
    st.data(),
)
def test_phrases_hold_the_sequence_and_begin_and_end_with_events(
    sequence: list[int], sizes: list[int], data: st.DataObject
) -> None:
    loop = data.draw(st.none() | st.integers(0, len(sequence) - 1))
    most = data.draw(st.integers(0, 4))
    found = find_phrases(sequence, sizes, loop, most)
    with pytest.MonkeyPatch.context() as without:
        without.setattr(phrases, "_compiled", None)
        assert find_phrases(sequence, sizes, loop, most) == found

    def written_out(symbols: Sequence[int]) -> list[int]:
        return [
            event
            for symbol in symbols
            for event in ([symbol] if symbol < 6 else written_out(found.phrases[symbol - 6]))
        ]

    assert written_out(found.sequence) == sequence
    assert len(found.phrases) <= most
    for phrase in found.phrases:
        assert phrase[0] < 6 > phrase[-1]
    if loop is not None:
        assert found.loop is not None
        assert found.sequence[-1] < 6
        assert written_out(found.sequence[: found.loop]) == sequence[:loop]

    def size(symbols: Sequence[int]) -> int:
        return sum(sizes[symbol] if symbol < 6 else 1 for symbol in symbols)

    packed = size(found.sequence) + sum(size(phrase) + PHRASE_BYTES for phrase in found.phrases)
    assert packed <= size(sequence)


@pytest.mark.parametrize(("sizes", "expected"), [((3, 2), ()), ((3, 3), ((0, 1),))])
def test_a_phrase_that_saves_nothing_is_none(
    sizes: tuple[int, int], expected: tuple[tuple[int, int], ...]
) -> None:
    """Twice 5 bytes are 10; as a phrase they take twice 1, 5, its end and its address: 10 too."""
    assert find_phrases([0, 1, 2, 0, 1, 3], [*sizes, 1, 1], None, 9).phrases == expected


@pytest.mark.parametrize("without", [False, True])
def test_a_phrase_in_a_phrase_counts_as_a_byte(
    without: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """(0 1) is joined first; the phrase of ten, which begins with an event, holds it twice."""
    if without:
        monkeypatch.setattr(phrases, "_compiled", None)
    sequence = [0, 1, 2, 0, 1, 3, 4, 0, 1, 5] * 4
    found = find_phrases(sequence, [3] * 6, None, 9)
    assert found.phrases == ((0, 1), (0, 1, 2, 6, 3, 4, 6, 5))
    assert found.sequence == (7,) * 4


def test_symbols_without_a_size_are_refused() -> None:
    for wrong in (2, -2):
        with pytest.raises(ValueError, match="symbols without a size"):
            _phrases.phrases(np.array([0, wrong]), np.array([1, 1]), 9, PHRASE_BYTES)


@given(st.lists(st.integers(-1, 2), max_size=30))
def test_pairs_are_counted_as_often_as_they_can_be_joined(sequence: list[int]) -> None:
    pairs, counts = _counted(np.array(sequence, dtype=np.int64))
    found = dict(
        zip((divmod(pair, _BASE) for pair in pairs.tolist()), counts.tolist(), strict=True)
    )
    for pair in product(range(3), repeat=2):
        place = joined = 0
        while place < len(sequence):
            here = tuple(sequence[place : place + 2]) == pair
            joined += here
            place += 2 if here else 1
        assert found.get(pair, 0) == joined
    assert all(-1 not in pair for pair in found)


@given(st.lists(st.sampled_from([A, B]), min_size=1, max_size=30))
def test_two_bars_in_any_order_take_few_bytes(bars: list[Any]) -> None:
    """Each bar of A and B by itself takes 8 or 11 bytes, and less when it is a phrase."""
    song = pack(piece_of(*bars), ENGINE)
    assert unpacked(song) == wanted(piece_of(*bars))
    tables = 2 * (len(song.kinds) + len(song.tones) + song.depth)
    assert song.bytes - tables <= 1 + sum(8 if bar is A else 11 for bar in bars)


def test_a_hit_costs_a_kind_of_event_and_a_byte_where_no_tone_changes() -> None:
    plain = pack(piece_of(A), ENGINE).bytes + 1  # after the drums one byte of their end
    held, tune, _ = A
    for drum, bytes_of_it in (("hat", 8), ("kick-hat", 16)):
        assert len(next(d for d in ENGINE.drums if d.name == drum).parts) * 8 == bytes_of_it
        # D4 without it isn't there any more where it is on both notes that are of one kind.
        changed = pack(piece_of((held, tune, [drum, None, drum, drum])), ENGINE).bytes
        assert changed == plain + bytes_of_it
        # The first event has one step now, so the kinds are one more.
        under = pack(piece_of((held, tune, [None, drum, None, None])), ENGINE).bytes
        assert under == plain + bytes_of_it + 1 + 2


def test_a_song_with_too_many_parts_of_drums_is_refused() -> None:
    parts = next(drum for drum in ENGINE.drums if drum.name == "hat").parts
    drums = tuple(ENGINE.drums[0]._replace(name=f"d{n}", parts=parts * 5) for n in range(14))
    engine = replace(ENGINE, drums=drums)
    names: list[str | None] = [drum.name for drum in drums]
    length = max(engine.step_lengths, key=lambda length: length.setting).setting
    sheet = sheet_of(engine, [60] * len(names), drums=names, length=length)
    with pytest.raises(SheetError, match="more than 63 parts; use fewer drum sounds"):
        pack(sheet, engine)
    assert pack(replace(sheet, drums=(*names[:13], None)), engine).drums[-1][0] == "drum_d12"


def test_a_song_with_many_kinds_of_events_tells_both_voices_always() -> None:
    """With more lengths and drums than bytes it is refused."""
    names = [drum.name for drum in ENGINE.drums if len(drum.parts) == 1][:12]
    rows: tuple[list[object], list[object], list[str | None]] = ([], [], [])
    for number, name in enumerate(names):
        for steps in range(1, 25):
            rows[0].extend([60 + steps % 2, *[HOLD] * (steps - 1)])
            rows[1].extend([40 + steps % (number + 2), *[HOLD] * (steps - 1)])
            rows[2].extend([name, *[None] * (steps - 1)])
    with pytest.raises(SheetError, match="too many pitches, or kinds of events: lengths and"):
        pack(sheet_of(ENGINE, *rows), ENGINE)  # type: ignore[arg-type]
    few = 10 * sum(range(1, 25))
    held = sheet_of(ENGINE, *([*row[:few], *row[:few]] for row in rows))  # type: ignore[arg-type]
    voice2 = (*held.voice2[:few], 40, *[HOLD] * (few - 1))
    sheet = replace(held, voice2=voice2)
    song = pack(sheet, ENGINE)
    assert {line.values[0] & 0xC0 for line in song.kinds[:-1]} == {0xC0}
    assert len(song.kinds) == 240 + 1
    assert unpacked(song) == wanted(sheet)


def test_a_piece_goes_round_to_its_loop_step() -> None:
    song = pack(piece_of(A, B, A, B, loop_step=4), ENGINE)
    assert song.loop is not None
    assert unpacked(song, 1)[16:] == unpacked(song)[4:]
    # A loop that begins within a bar cuts it.
    song = pack(piece_of(A, B, loop_step=5), ENGINE)
    assert unpacked(song, 1)[8:] == unpacked(song)[5:]


def test_held_steps_are_one_event_up_to_the_event_counter() -> None:
    # 255 chunks are 51 steps of 5.
    steps = 120
    song = pack(sheet_of(ENGINE, [60, *[HOLD] * (steps - 1)]), ENGINE)
    assert [len(line.values) for line in song.song] == [3, 1, 1, 1]
    assert [line.values[0] for line in song.kinds] == [
        51 * 5 << 8 | 0xC0, 51 * 5 << 8, 18 * 5 << 8, 2
    ]  # fmt: skip


def test_a_counter_is_given_its_period_and_what_flips_the_pin() -> None:
    song = pack(sheet_of(COUNTER, [69, REST]), COUNTER)
    # A4: 3.5 MHz / 118 / 2 / 440 Hz = 33.7 passes. Silence counts 9 and flips nothing.
    assert [line.values for line in song.tones] == [(9,), (0x1000 | 34,)]
