"""Packed song data read back word by word, and what packing saves."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.engine import load_engine
from arranger.machine import binary, pack, song_bytes
from arranger.rows import HOLD, REST, tones
from arranger.sheet.model import Sheet, SheetBar
from tests.sound.sheets import sheet_of, sheets

if TYPE_CHECKING:
    from arranger.machine.packing import PackedSong

ENGINE = load_engine("twin-phase")
COUNTER = load_engine("twin-counter")
CHUNKS = 5
"""The shortest step of twin-phase is 1,060 passes, 5 chunks of 212."""

Step = tuple[int, int, str | None]


def bars_of(*steps: int) -> tuple[SheetBar, ...]:
    return tuple(SheetBar(number, length, length, 4) for number, length in enumerate(steps, 1))


def unpacked(song: PackedSong, rounds: int = 0) -> list[Step]:
    """Return what sounds on each step, as a player would read it from the words."""
    order = list(song.order)
    if song.loop is not None:
        order += order[song.loop :] * rounds
    # A number says how many parts lie before.
    names = [line.comment.split()[-1] for _label, parts in song.drums for line in parts]
    labels = {label: parts[0].comment.split()[-1] for label, parts in song.drums}
    found: list[Step] = []
    voices = [0, 0]
    for index in order:
        ended = False
        for line in song.phrases[index]:
            assert not ended
            head, *words = line.words
            assert isinstance(head, int)
            flags, count = head & 0xFF, head >> 8
            assert flags & 0x02 == 0
            drum = None
            if flags & 0x80:
                number = flags >> 3 & 7
                drum = labels[str(words.pop(0))] if number == 7 else names[number]
            else:
                assert flags & 0x38 == 0
            for voice, flag in enumerate((0x01, 0x40)):
                if flags & flag:
                    word = words.pop(0)
                    assert isinstance(word, int)
                    voices[voice] = word
            assert not words
            steps, rest = divmod(count, CHUNKS)
            assert rest == 0 < steps
            found.append((voices[0], voices[1], drum))
            found += [(voices[0], voices[1], None)] * (steps - 1)
            ended = flags & 0x04 != 0
        assert ended
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
def test_words_say_what_the_sheet_says(data: st.DataObject) -> None:
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


def test_bars_that_sound_alike_are_stored_once() -> None:
    song = pack(piece_of(A, B, A, A, B), ENGINE)
    assert song.order == (0, 1, 0, 0, 1)
    assert len(song.phrases) == 2
    # By hand. A: three words for C4 C3 (2 steps), two each for D4, E4: 14 bytes.
    # B: three words, then F4 (two), E4 with A2 (three), D4 (two): 20 bytes.
    # An entry of 4 bytes a phrase and one for the ending, which is 2 bytes.
    assert song.bytes == 14 + 20 + 4 * 6 + 2


def test_bars_that_always_follow_each_other_are_one_phrase() -> None:
    song = pack(piece_of(A, B, A, B, A, B), ENGINE)
    assert song.order == (0, 0, 0)
    assert song.bytes == 14 + 20 + 4 * 4 + 2


def test_halves_of_bars_that_sound_alike_are_stored_once() -> None:
    begin = [60, 62, 64, 65]
    bars = [[*begin, *(67 + number * step for step in (0, 2, 1, 3))] for number in range(1, 5)]
    sheet = sheet_of(ENGINE, [pitch for bar in bars for pitch in bar])
    song = pack(replace(sheet, bars=bars_of(8, 8, 8, 8)), ENGINE)
    assert song.order == (0, 1, 0, 2, 0, 3, 0, 4)
    # By hand: four events with a tone each, and voice 2 silent at first: 18 bytes.
    assert song.bytes == 5 * 18 + 4 * 9 + 2
    assert unpacked(song) == wanted(replace(sheet, bars=bars_of(32)))


def test_no_phrase_goes_over_where_a_loop_begins() -> None:
    """Though the two bars follow each other each time."""
    song = pack(piece_of(A, B, A, B, loop_step=4), ENGINE)
    assert song.loop is not None
    assert [len(song.phrases[index]) for index in song.order[: song.loop]] == [3]
    assert unpacked(song, 1) == wanted(piece_of(A, B, A, B, loop_step=4), 1)


@given(st.lists(st.sampled_from([A, B]), min_size=1, max_size=30))
def test_two_bars_in_any_order_take_no_more_than_each_bar_by_name(bars: list[Any]) -> None:
    """Each bar of A and B by itself is 14 or 20 bytes, and 4 to name it."""
    song = pack(piece_of(*bars), ENGINE)
    stored = sum(size for bar, size in ((A, 14), (B, 20)) if bar in bars)
    assert song.bytes <= stored + 4 * len(bars) + 4 + 2
    assert unpacked(song) == wanted(piece_of(*bars))


def test_a_hit_costs_nothing_where_a_tone_changes_and_a_word_where_none_does() -> None:
    plain = pack(piece_of(A), ENGINE).bytes
    held, tune, _ = A
    for drum, bytes_of_it in (("hat", 8), ("kick-hat", 16)):
        assert len(next(d for d in ENGINE.drums if d.name == drum).parts) * 8 == bytes_of_it
        changed = pack(piece_of((held, tune, [drum, None, drum, drum])), ENGINE).bytes
        assert changed == plain + bytes_of_it
        under = pack(piece_of((held, tune, [None, drum, None, None])), ENGINE).bytes
        assert under == plain + bytes_of_it + 2


def test_the_commonest_drums_have_numbers_and_the_others_a_word() -> None:
    names = [drum.name for drum in ENGINE.drums if not drum.joins][:9]
    hits = [name for index, name in enumerate(names) for _ in range(9 - index)]
    sheet = sheet_of(ENGINE, [60] * len(hits), drums=list(hits[::-1]))
    song = pack(sheet, ENGINE)
    assert [label for label, _ in song.drums] == [f"drum_{n.replace('-', '_')}" for n in names]
    far = [line for line in song.phrases[0] if "drum_" in str(line.words[1:])]
    assert [line.words[1] for line in far][:2] == [song.drums[8][0], song.drums[7][0]]
    assert len(far) == 1 + 2


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
    sheet = sheet_of(ENGINE, [60, *[HOLD] * (steps - 1)])
    lines = pack(sheet, ENGINE).phrases[0]
    assert [line.words[0] for line in lines] == [
        51 * 5 << 8 | 0x41, 51 * 5 << 8, 18 * 5 << 8 | 0x04
    ]  # fmt: skip


def test_a_counter_is_given_its_period_and_what_flips_the_pin() -> None:
    sheet = sheet_of(COUNTER, [69, REST])
    words = [line.words[1:] for line in pack(sheet, COUNTER).phrases[0]]
    # A4: 3.5 MHz / 118 / 2 / 440 Hz = 33.7 passes. Silence counts 1 and flips nothing.
    assert words[0] == (0x1000 | 34, 1)
    assert words[1] == (1,)
