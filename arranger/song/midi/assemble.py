"""The gathered tracks of a MIDI file become a song."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from arranger.columns import distinct
from arranger.errors import LimitError
from arranger.song import charsets
from arranger.song.general_midi import PROGRAM_NAMES
from arranger.song.midi import bends, channels, modes, pedals, raw
from arranger.song.midi.events import BEND
from arranger.song.midi.held_pedals import remarks_on
from arranger.song.model import KeyChange, MetreChange, Notes, Part, Song, TempoChange, Track

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from arranger.settings import ReadSettings
    from arranger.song.midi.channels import PartDraft
    from arranger.song.midi.events import ChannelEvent, TrackEvents
    from arranger.song.midi.held_pedals import HeldPedal
    from arranger.song.midi.raw import RawNotes
    from arranger.song.model import Columns, Mark, Repair

DEFAULT_TEMPO = 500_000
"""Microseconds a beat until a tempo is set: 120 beats a minute (Standard MIDI File 1.0)."""

_DRUM_WORDS = re.compile(r"\b(drum|drums|drumkit|drumset|percussion|perc|schlagzeug|batterie)\b")
_DRUM_KEYS = range(27, 88)
"""The keys that drum sets have: Level 1 and the GS and GM2 additions on either side."""


@dataclass(frozen=True, slots=True)
class Unit:
    """What a tick is, from the header's third word (Standard MIDI File 1.0)."""

    ticks_per_beat: int
    own_beat: bool
    microseconds_per_beat: int
    """Tempo at the start: a beat of clock time when ``own_beat`` is False."""


def unit_of(division: int) -> Unit:
    """Work out the division word of a header (0..0xFFFF).

    With the top bit set, the high byte is minus the frames a second (24, 25, 29 or 30) and the low
    byte the ticks a frame; then a "beat" here is one second. 29 stands for 30 drop-frame, which
    runs at 30/1.001 frames a second, so that 30 frames last 1.001 s.

    >>> unit_of(0xE728)
    Unit(ticks_per_beat=1000, own_beat=False, microseconds_per_beat=1000000)
    """
    if not division & 0x8000:
        return Unit(division, True, DEFAULT_TEMPO)
    frames = 256 - (division >> 8)
    ticks = division & 0xFF
    if frames == 29:
        return Unit(30 * ticks, False, 1_001_000)
    return Unit(frames * ticks, False, 1_000_000)


def assemble_song(
    tracks: list[TrackEvents],
    midi_format: int,
    unit: Unit,
    file: str,
    sha256: str,
    settings: ReadSettings,
    repairs: Sequence[Repair],
) -> Song:
    """Put the gathered tracks together; see `arranger.song.midi.reading.read_midi`."""
    written = raw.joined_notes(tracks)
    events = sorted(event for track in tracks for event in track.events)
    end_tick = max(track.end for track in tracks)
    silencing = [event for event in events if event[5] in pedals.CODES]
    held: list[HeldPedal] = []
    if silencing:
        held = pedals.move_ends(
            written, silencing, end_tick, unit.ticks_per_beat, sustain=settings.sustain
        )
    last = int(written.end.max(initial=0))
    if last > settings.max_beats * unit.ticks_per_beat:
        raise LimitError(
            f"the song lasts {last // unit.ticks_per_beat:,} beats, "
            f"over the limit of {settings.max_beats:,}",
            remedy="raise it with --max-beats",
        )
    settled, bending = _with_modes(tracks, events)
    notes, drafts = channels.gather_notes(written, settled, settings.drum_channels)
    remarks: list[str] = []
    if bending:
        notes = _bent(notes, written, bending, end_tick, remarks)
    _read_texts(tracks, remarks)
    if settings.drum_channels is None:
        notes = _drums_by_name(notes, drafts, tracks, remarks)
    metres = _metres(tracks, remarks, unit.ticks_per_beat)
    song = Song(
        title=_title(tracks, file),
        file=file,
        sha256=sha256,
        kind="midi",
        midi_format=midi_format,
        ticks_per_beat=unit.ticks_per_beat,
        own_beat=unit.own_beat,
        notes=Notes(notes),
        parts=tuple(_parts(drafts, tracks, midi_format)),
        tracks=tuple(Track(t.index, t.name, len(t.notes)) for t in tracks),
        tempos=_tempos(tracks, unit),
        metres=metres,
        metre_said=any(track.metres for track in tracks),
        keys=_keys(tracks),
        marks=tuple(sorted((m for track in tracks for m in track.marks), key=_tick)),
        controls=tuple(sorted(c for track in tracks for c in track.controls)),
        repairs=(*repairs, *(repair for track in tracks for repair in track.repairs)),
        remarks=tuple(remarks),
    )
    told = remarks_on(song, written.channel, held) if held else ()
    return replace(song, remarks=(*song.remarks, *told))


def _with_modes(
    tracks: Sequence[TrackEvents], events: list[ChannelEvent]
) -> tuple[list[ChannelEvent], list[ChannelEvent]]:
    """Return the events that settle how notes sound, and those that bend them."""
    exclusives = sorted(message for track in tracks for message in track.exclusives)
    telling = [event for event in events if event[5] in modes.CODES]
    derived = modes.mode_events(telling, exclusives)
    if derived:
        events = sorted(events + derived)
    settled = [event for event in events if event[5] in channels.CODES]
    # Many files only set the wheel to its middle.
    bent = {event[4] for event in events if event[5] == BEND and event[6]}
    bending = [event for event in events if event[4] in bent and event[5] in bends.CODES]
    return settled, bending


def _bent(
    notes: Columns,
    written: RawNotes,
    bending: Sequence[ChannelEvent],
    end_tick: int,
    remarks: list[str],
) -> Columns:
    """Move the notes that a bend holds on another semitone, and say what became of the others."""
    channels_bent = list({event[4] for event in bending})
    places = np.flatnonzero(np.isin(written.channel, channels_bent) & ~notes.drum)
    rows = list(
        zip(
            places.tolist(),
            written.track[places].tolist(),
            written.channel[places].tolist(),
            written.onset[places].tolist(),
            written.end[places].tolist(),
            strict=True,
        )
    )
    wheels = bends.wheels(bending, end_tick, {(row[1], row[2]) for row in rows})
    pitch, shift = notes.pitch.copy(), notes.shift.copy()
    moved = ignored = 0
    for place, track, channel, onset, end in rows:
        wheel = wheels.get((track, channel))
        if wheel is None:
            continue
        semitones = wheel.semitones(onset, end) if wheel.stays else 0
        if semitones and 0 <= pitch[place] + semitones <= 127:
            moved += 1
            pitch[place] += semitones
            shift[place] += semitones
        elif wheel.touches(onset, end):
            ignored += 1
    if moved:
        remarks.append(f"pitch bend moved {_notes(moved)} by whole semitones")
    if ignored:
        remarks.append(f"vibrato and slides by pitch bend are ignored, on {_notes(ignored)}")
    return replace(notes, pitch=pitch, shift=shift)


def _notes(count: int) -> str:
    return "1 note" if count == 1 else f"{count:,} notes"


def _read_texts(tracks: Iterable[TrackEvents], remarks: list[str]) -> None:
    """Decode the marks of all tracks together; they come as Latin-1."""
    marked = [track for track in tracks if track.marks]
    decoded = charsets.decode([m.text.encode("latin-1") for t in marked for m in t.marks])
    if decoded.encoding is not None:
        remarks.append(f"names and texts were read as {decoded.encoding}")
    texts = iter(decoded.texts)
    for track in marked:
        track.marks = [mark._replace(text=next(texts)) for mark in track.marks]


def _drums_by_name(
    notes: Columns, drafts: Sequence[PartDraft], tracks: Sequence[TrackEvents], remarks: list[str]
) -> Columns:
    """Take a part for drums that is called so, has no program, and keeps to the drum keys."""
    names = {track.index: track.name for track in tracks}
    called = {
        index
        for index, draft in enumerate(drafts)
        if not (draft.drum or draft.named) and _DRUM_WORDS.search(names[draft.track].lower())
    }
    if called:
        outside = (notes.pitch < _DRUM_KEYS.start) | (notes.pitch >= _DRUM_KEYS.stop)
        called -= set(distinct(notes.part[outside]).tolist())
    if not called:
        return notes
    for index in called:
        drafts[index].drum = True
    listed = ", ".join(repr(names[drafts[index].track].strip()) for index in sorted(called)[:5])
    remarks.append(
        f"taken for drums by its name: {listed}; "
        "name the drum channels with --drum-channel if that is wrong"
    )
    return replace(notes, drum=notes.drum | np.isin(notes.part, sorted(called)))


_NO_TITLES = re.compile(
    r"(untitled|tempo( track| map)?|conductor( track)?|control track|track ?\d*)?"
)


def _title(tracks: Sequence[TrackEvents], file: str) -> str:
    """Return the first track's name, which is the sequence's name, or the file's name.

    Where the first track plays along with others, its name is taken for that of its part.
    """
    written = " ".join(tracks[0].name.split())
    is_part = bool(tracks[0].notes) and sum(bool(track.notes) for track in tracks) > 1
    if is_part or _NO_TITLES.fullmatch(written.lower()):
        written = next((t for track in tracks for t in _karaoke_titles(track.marks)), "")
    return written or file.rpartition(".")[0] or file


def _karaoke_titles(marks: Iterable[Mark]) -> Iterable[str]:
    """Yield titles as karaoke files write them: texts that start with @T (common practice)."""
    for mark in marks:
        if mark.kind == "text" and mark.text.startswith("@T") and mark.text[2:].strip():
            yield " ".join(mark.text[2:].split())


def _parts(
    drafts: Sequence[PartDraft], tracks: Sequence[TrackEvents], midi_format: int
) -> Iterable[Part]:
    """Name the parts."""
    names = {track.index: " ".join((track.name or track.instrument).split()) for track in tracks}
    parts_of = Counter(draft.track for draft in drafts)
    sounds = Counter((draft.track, draft.channel, draft.program, draft.drum) for draft in drafts)
    for index, draft in enumerate(drafts):
        sound = "Drums" if draft.drum else PROGRAM_NAMES[draft.program]
        if sounds[draft.track, draft.channel, draft.program, draft.drum] > 1:
            # Only the bank tells these apart.
            sound = f"{sound}, bank {draft.bank >> 7}/{draft.bank & 127}"
        written = "" if midi_format == 0 else names[draft.track]
        if written and parts_of[draft.track] > 1:
            written = f"{written} ({sound})"
        yield Part(
            index=index,
            track=draft.track,
            channel=draft.channel,
            program=draft.program,
            name=written or sound,
            drum=draft.drum,
            pan=draft.pan,
            notes=draft.notes,
        )


def _tempos(tracks: Sequence[TrackEvents], unit: Unit) -> tuple[TempoChange, ...]:
    """Merge the tempo changes of all tracks; the last one on a tick counts."""
    first = (0, unit.microseconds_per_beat)
    changes = [c for track in tracks for c in track.tempos] if unit.own_beat else []
    return tuple(TempoChange(*entry) for entry in _merged(changes, first, set()))


def _metres(
    tracks: Sequence[TrackEvents], remarks: list[str], ticks_per_beat: int
) -> tuple[MetreChange, ...]:
    """Merge the metre changes of all tracks; 4/4 until one is set."""
    changes = [change for track in tracks for change in track.metres]
    starts = {track.start for track in tracks}
    merged = [MetreChange(*entry) for entry in _merged(changes, (0, 4, 4), starts)]
    # Exact: a bar is 4 * numerator / denominator beats.
    inside = [
        after
        for before, after in pairwise(merged)
        if (after.tick - before.tick) * before.denominator % (4 * before.numerator * ticks_per_beat)
    ]
    if inside:
        first = f"to {inside[0].numerator}/{inside[0].denominator} at tick {inside[0].tick}"
        more = f", and {len(inside) - 1} more times" if len(inside) > 1 else ""
        remarks.append(f"the metre changes inside a bar, {first}{more}: that bar is cut short")
    return tuple(merged)


def _keys(tracks: Sequence[TrackEvents]) -> tuple[KeyChange, ...]:
    """Merge the key signatures of all tracks; the last one on a tick counts."""
    by_tick = {key.tick: key for track in tracks for key in track.keys}
    return tuple(by_tick[tick] for tick in sorted(by_tick))


def _merged(
    changes: Iterable[tuple[int, ...]], first: tuple[int, ...], starts: set[int]
) -> list[tuple[int, ...]]:
    """Return changes in order of tick, without those that change nothing.

    The last one on a tick counts. A change at one of ``starts`` is kept though it changes nothing.
    """
    by_tick = {0: first}
    for change in sorted(changes, key=_tick):
        by_tick[change[0]] = change
    kept: list[tuple[int, ...]] = []
    for change in by_tick.values():
        if not kept or kept[-1][1:] != change[1:] or change[0] in starts:
            kept.append(change)
    return kept


def _tick(entry: tuple[object, ...]) -> int:
    tick = entry[0]
    assert isinstance(tick, int)  # noqa: S101
    return tick
