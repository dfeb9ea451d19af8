"""The account of a merged sheet: each note once, heard where the account says it is."""

from __future__ import annotations

import random
from dataclasses import replace
from fractions import Fraction
from functools import cache
from io import BytesIO
from pathlib import Path

import mido
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.conversion import Conversion, convert
from arranger.conversion.by_hand import revise
from arranger.engine import load_engine
from arranger.reduce import Span, check_conservation
from arranger.reduce.tell.texture_line import texture_line
from arranger.report import summary
from arranger.report.account_columns import account_of
from arranger.rows import HOLD, tones
from arranger.settings import GridSettings, ReduceSettings, Settings
from arranger.sheet.bar_edits.structure import delete_bars, insert_bars
from arranger.sheet.bar_edits.which_bars import Chosen
from arranger.sheet.merging.merge import merge
from arranger.sheet.merging.pieces import WHOLE, Conflict
from arranger.song import read_song, read_song_bytes
from tests.grid.songs import song_of

from . import edits

SONGS = sorted((Path(__file__).parents[2] / "demo_songs").glob("*.mid"))[:4]
CHOICES = (
    Settings(),
    Settings(engine="twin-counter"),
    Settings(reduce=ReduceSettings(texture="two-highest", drums="none")),
    Settings(reduce=ReduceSettings(transpose=2)),
    Settings(grid=GridSettings(step=Fraction(1, 4))),
)


@cache
def converted(song: int, choice: int) -> Conversion:
    chosen = CHOICES[choice]
    return convert(read_song(SONGS[song]), load_engine(chosen.engine), chosen)


def check_account(found: Conversion) -> None:
    """Check that what the ledger says is heard is heard, and that the sources agree with it."""
    check_conservation(found.reduction.ledger, len(found.song.notes))
    sheet, reduction = found.sheet, found.reduction
    assert (reduction.voice1, reduction.voice2, reduction.drums) == (
        sheet.voice1,
        sheet.voice2,
        sheet.drums,
    )
    heard = (None, tones(sheet.voice1), tones(sheet.voice2))
    cells: dict[int, set[tuple[int, int]]] = {}
    assert not any("are whole" in remark for remark in reduction.remarks)  # broken laws
    for entry in reduction.ledger.entries:
        assert all(0 <= other < len(found.song.notes) for other in entry.by)
        for voice, first, steps in entry.spans:
            for step in range(first, first + steps):
                cells.setdefault(entry.note, set()).add((voice, step))
                if voice == 0:
                    assert sheet.drums[step] == entry.sound
                    drum = next(d for d in found.engine.drums if d.name == entry.sound)
                    if entry.outcome != "merged" and not drum.joins:
                        assert reduction.drum_sources[step] == entry.note
                else:
                    assert heard[voice][step] == entry.pitch_out
    for voice, sources in ((1, reduction.sources1), (2, reduction.sources2)):
        assert len(sources) == sheet.steps
        for step, note in enumerate(sources):
            silenced = found.engine.drum_takes_step and sheet.drums[step] is not None
            if note >= 0 and not silenced:
                entry = reduction.ledger.entries[note]
                # a note that only fills in, a beat late or more, counts as dropped
                lost = (entry.outcome, entry.pitch_out) == ("dropped", None)
                assert lost or heard[voice][step] == entry.pitch_out
    assert sum(bar.steps for bar in found.grid.bars) == found.grid.steps == sheet.steps


def three_parts() -> bytes:
    """Return a MIDI file of three parts in quarter notes, two bars of 4/4."""
    file = mido.MidiFile(ticks_per_beat=480)
    parts = {
        "tune": (72, 74, 76, 77, 79, 77, 76, 74),
        "middle": (64, 65, 67, 69, 71, 69, 67, 65),
        "bass": (48, 43, 48, 41, 43, 43, 48, 43),
    }
    for channel, (name, pitches) in enumerate(parts.items()):
        track = mido.MidiTrack([mido.MetaMessage("track_name", name=name)])
        for pitch in pitches:
            track.append(mido.Message("note_on", channel=channel, note=pitch, velocity=90))
            track.append(mido.Message("note_off", channel=channel, note=pitch, time=480))
        file.tracks.append(track)
    content = BytesIO()
    file.save(file=content)
    return content.getvalue()


def test_what_the_hand_dropped_and_brought_back_is_told_apart() -> None:
    """In bar 1 a hand writes the middle part's first note for the tune's, and lets D5 sound longer.

    Worked out by hand: C5 (the tune's first) goes, but for its octave in the bass, E4 (the middle's)
    comes, D5 takes the place of
    E5, F5 stays; bar 2 isn't touched.
    """
    engine = load_engine("twin-phase")
    settings = Settings(
        grid=GridSettings(step=Fraction(1)), reduce=ReduceSettings(tune="tune", bass="bass")
    )
    now = convert(read_song_bytes(three_parts(), "x.mid"), engine, settings)
    assert now.sheet.voice1 == (72, 74, 76, 77, 79, 77, 76, 74)
    edited = replace(now.sheet, voice1=(64, 74, HOLD, *now.sheet.voice1[3:]))
    revised = revise(now, merge(edited, now.sheet))
    check_account(revised)
    entries = {
        (revised.song.parts[n.part].name, n.onset // 480): revised.reduction.ledger.entries[n.id]
        for n in revised.song.notes
    }
    first = entries["tune", 0]
    assert (first.outcome, first.reasons) == ("merged", ("by-hand", "octave-doubled"))
    assert first.by == (entries["bass", 0].note,)
    back = entries["middle", 0]
    assert (back.outcome, back.reasons, back.spans) == ("changed", ("by-hand",), (Span(1, 0, 1),))
    longer = entries["tune", 1]
    assert (longer.outcome, longer.reasons[0]) == ("changed", "by-hand")
    assert longer.spans == (Span(1, 1, 2),)
    gone = entries["tune", 2]
    assert (gone.outcome, gone.reasons, gone.spans) == ("dropped", ("by-hand",), ())
    assert entries["tune", 3].outcome == "kept"
    untouched = [n.id for n in now.song.notes if n.onset >= 4 * 480]
    for note in untouched:
        assert revised.reduction.ledger.entries[note] == now.reduction.ledger.entries[note]
    assert "1 bar is by hand" in revised.reduction.remarks
    assert not any("doesn't have" in remark for remark in revised.reduction.remarks)


def test_without_edits_the_account_is_the_machines() -> None:
    now = converted(0, 0)
    revised = revise(now, merge(now.sheet, now.sheet))
    assert revised.reduction.ledger == now.reduction.ledger
    assert revised.reduction.sources1 == now.reduction.sources1


def test_bars_by_hand_are_counted_row_by_row() -> None:
    now = converted(0, 0)
    starts = now.sheet.bar_starts
    drums = list(now.sheet.drums)
    for bar in (1, 2):
        drums[starts[bar]] = "clap"
    edited = replace(now.sheet, drums=tuple(drums), loop_step=starts[4])
    revised = revise(now, merge(edited, now.sheet))
    told = revised.reduction.remarks
    assert "2 bars are by hand, only the drums" in told
    assert summary(revised).remarks[0] == told[0]  # before all that can wait
    voice2 = (*now.sheet.voice2[: starts[5]], 43, *now.sheet.voice2[starts[5] + 1 :])
    told = revise(now, merge(replace(edited, voice2=voice2), now.sheet)).reduction.remarks
    assert "3 bars are by hand, in 2 only the drums" in told
    merged = merge(edited, now.sheet)
    clashes = [Conflict(None, "a"), Conflict(WHOLE, "b"), *(Conflict(n, "c") for n in (4, 2, 3))]
    told = revise(now, replace(merged, conflicts=tuple(clashes))).reduction.remarks
    assert [line for line in told if line[-1] in "abc"] == [
        "the header: a",
        "the sheet: b",
        "bars 2-4: c",
    ]


@given(
    st.integers(0, 2**32).map(random.Random),
    st.integers(0, len(SONGS) - 1),
    st.integers(0, len(CHOICES) - 2),
    st.integers(0, len(CHOICES) - 1),
)
@settings(max_examples=30, deadline=None)
def test_a_merged_sheet_has_an_account_of_every_note(
    rng: random.Random, song: int, first: int, second: int
) -> None:
    then, now = converted(song, first), converted(song, second)
    edited = edits.edit(rng, then.sheet).sheet
    check_account(revise(now, merge(edited, now.sheet)))


def test_a_tone_that_the_hand_moves_to_the_other_voice_is_followed() -> None:
    """The voices are exchanged in bar 1: all that was heard there still is, in the other voice."""
    engine = load_engine("twin-phase")
    chosen = Settings(
        grid=GridSettings(step=Fraction(1)), reduce=ReduceSettings(tune="tune", bass="bass")
    )
    now = convert(read_song_bytes(three_parts(), "x.mid"), engine, chosen)
    swapped = replace(
        now.sheet,
        voice1=(*now.sheet.voice2[:4], *now.sheet.voice1[4:]),
        voice2=(*now.sheet.voice1[:4], *now.sheet.voice2[4:]),
    )
    revised = revise(now, merge(swapped, now.sheet))
    check_account(revised)
    for note, entry in enumerate(revised.reduction.ledger.entries):
        before = now.reduction.ledger.entries[note]
        if before.spans and before.spans[0].step < 4:
            assert (entry.outcome, entry.reasons[0]) == ("changed", "by-hand")
            assert [span.voice for span in entry.spans] == [3 - before.spans[0].voice]
            assert entry.spans[0].step == before.spans[0].step


def test_a_tone_grows_only_over_steps_that_no_other_note_has() -> None:
    """C5, D5, C5 of two steps each; the hand makes one long C5 of them.

    The first C5 grows over what was the D5's and stops where the second was; that one keeps its two
    steps, but no longer starts.
    """
    engine = load_engine("twin-phase")
    song = song_of([(0, 1, 72), (1, 1, 74), (2, 1, 72), (3, 1, 76)])
    now = convert(song, engine, Settings(grid=GridSettings(step=Fraction(1, 2))))
    assert now.sheet.voice1 == (72, HOLD, 74, HOLD, 72, HOLD, 76, HOLD)
    held = replace(now.sheet, voice1=(72, *[HOLD] * 5, 76, HOLD))
    revised = revise(now, merge(held, now.sheet))
    check_account(revised)
    first, between, second, last = revised.reduction.ledger.entries
    assert (first.outcome, first.reasons, first.spans) == (
        "changed",
        ("by-hand", "lengthened-to-step"),
        (Span(1, 0, 4),),
    )
    assert (between.outcome, between.reasons) == ("dropped", ("by-hand",))
    assert (second.outcome, second.spans, second.by) == ("merged", (Span(1, 4, 2),), (0,))
    assert last.outcome == "kept"


def numbers(found: Conversion) -> dict[int, int]:
    """Return for each of the song's bars that has notes the number that the account gives them."""
    told = account_of(found)
    return dict(zip(told.song_bar, told.bar, strict=True))


def test_bars_have_the_sheet_s_numbers_and_the_song_s_beside_them() -> None:
    now = converted(0, 0)
    count = len(now.sheet.bars)
    more = insert_bars(now.sheet, 2, 8).sheet
    found = revise(now, merge(more, now.sheet))
    check_account(found)
    assert [bar.song_number for bar in found.grid.bars] == [
        *[None] * 10, *range(9, count + 1),
    ]  # fmt: skip
    assert numbers(found) == {n: n if n < 9 else n + 2 for n in range(1, count + 1)}
    before, after = now.reduction.ledger.entries, found.reduction.ledger.entries
    assert [entry.outcome for entry in after] == [entry.outcome for entry in before]
    first, more_steps = now.sheet.bar_starts[8], more.steps - now.sheet.steps
    for was, entry in zip(before, after, strict=True):
        assert [span.step for span in entry.spans] == [
            span.step + more_steps * (span.step >= first) for span in was.spans
        ]
    (line,) = [str(texture_line(each, found.song.parts)) for each in found.reduction.passages]
    assert line.startswith(f"bars 1-{count + 2} (the song's 1-{count}): ")


def test_notes_of_bars_that_were_taken_out_are_told_of_beside_those_that_are_left() -> None:
    now = converted(0, 0)
    count = len(now.sheet.bars)
    fewer = now.sheet
    for bars in (Chosen(count - 2, count), Chosen(8, 10), Chosen(0, 2)):
        fewer = delete_bars(fewer, bars).sheet
    fewer = insert_bars(fewer, 3, len(fewer.bars)).sheet
    found = revise(now, merge(fewer, now.sheet))
    check_account(found)
    expected = {n: n - 2 for n in range(1, 9)} | {9: 6, 10: 6}
    assert numbers(found) == expected | {n: n - 4 for n in range(11, count + 1)}
    gone = {1, 2, 9, 10, count}
    entries = zip(found.reduction.ledger.entries, account_of(found).song_bar, strict=True)
    assert {entry.outcome for entry, song in entries if song in gone} == {"dropped"}


def test_a_note_over_a_bar_line_keeps_what_stands_before_a_bar_that_was_taken_out() -> None:
    """D5 sounds for beats 3, 4 and the first of bar 2, which goes."""
    engine = load_engine("twin-phase")
    song = song_of([(0, 2, 72), (2, 3, 74), (5, 3, 76), (8, 4, 77)])
    now = convert(song, engine, Settings(grid=GridSettings(step=Fraction(1), loop="none")))
    found = revise(now, merge(delete_bars(now.sheet, Chosen(1, 2)).sheet, now.sheet))
    check_account(found)
    told = [(each.outcome, each.reasons, each.spans) for each in found.reduction.ledger.entries]
    assert told == [
        ("kept", (), (Span(1, 0, 2),)),
        ("changed", ("by-hand",), (Span(1, 2, 2),)),
        ("dropped", ("by-hand",), ()),
        ("kept", (), (Span(1, 4, 4),)),
    ]
