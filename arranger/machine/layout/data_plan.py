"""A sheet as the records of a routine's layout, in the order in which they are written.

Steps become records in **segments**: patterns, or the piece up to its loop and from there on. The
first record of a segment tells everything anew, since the routine may come to it from elsewhere.
"""

from __future__ import annotations

from collections import Counter
from itertools import chain, pairwise
from math import lcm
from typing import TYPE_CHECKING, NamedTuple

from arranger.engine.layout import drum_numbers, tone_numbers
from arranger.pitch import pitch_name
from arranger.rows import tones
from arranger.sheet.played import played_steps, step_length

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from arranger.engine.layout import Layout
    from arranger.engine.model import Engine, Pitch
    from arranger.sheet.model import Sheet

_MOST_NAMED = 8
_UNKNOWN = "unknown"


class DataRecord(NamedTuple):
    """One record."""

    kind: str
    """Of `arranger.engine.layout.MEANT`; "fill": bytes that mean nothing."""
    numbers: Mapping[str, int] = {}
    """What its fields say, by their values; what they say of the whole song is in `DataPlan`."""
    codes: frozenset[str] = frozenset()
    """The values that are written as they are."""
    label: str = ""
    """"pattern 0" and so on, where one begins."""
    comment: str = ""
    step: int = 0
    """Of the sheet, for messages."""


class DataPlan(NamedTuple):
    """All records of a song."""

    layout: Layout
    entries: tuple[DataRecord, ...]
    offsets: tuple[int, ...]
    """Where each begins, in bytes from the first one; and the end of the last."""
    labels: Mapping[str, int]
    """Offsets by label: blocks, "pattern 0" and so on, "loop" if there is one."""
    numbers: Mapping[str, int]
    """What fields say of the whole song, addresses aside."""
    lengths: tuple[int, ...]
    """The steps of each pattern."""
    filled: int
    """Silent steps after the last, which fill a pattern."""
    tones: Mapping[int, int]
    """What each pitch is, by MIDI number; see `arranger.engine.layout.tone_numbers`."""
    drums: Mapping[str, tuple[int, ...]]
    """The drums' codes."""
    lost: Mapping[str, int]
    """Drums that have no code, and how often each occurs."""
    splits_pattern: bool
    """Whether the loop is inside of what has to be one pattern."""

    @property
    def bytes(self) -> int:
        """The bytes of all."""
        return self.offsets[-1]


class _Step(NamedTuple):
    tone1: int | None
    tone2: int | None
    drum: str | None


_SILENCE = _Step(None, None, None)


class _Segment(NamedTuple):
    start: int
    steps: tuple[_Step, ...]


def plan_data(sheet: Sheet, engine: Engine, layout: Layout) -> DataPlan:
    """Return what is written of a sheet.

    Raises `SheetError` if the engine can't play the sheet.
    """
    drums = drum_numbers(layout, (drum.name for drum in engine.drums))
    steps, lost = _steps(sheet, engine, drums)
    used = {tone for step in steps for tone in step[:2]}
    pitches = [
        pitch for midi, pitch in engine.pitches.items() if midi in used or not layout.pitches
    ]
    segments = _segments(sheet, layout, steps)
    told_as = tone_numbers(layout, {each.midi: each.setting for each in pitches})
    teller = _Teller(layout, told_as, drums)
    patterns = tuple(dict.fromkeys(one.steps for one in segments)) if layout.order else ()
    blocks = {
        "header": [DataRecord("header")] if layout.header else [],
        "pitches": [_pitch_entry(pitch) for pitch in pitches] if layout.pitches else [],
        **(_in_patterns if layout.order else _in_a_row)(sheet, segments, teller),
    }
    last = "order" if layout.order else "music"
    goal = _goal(sheet, segments, blocks[last])
    numbers = {
        "steps": sum(len(segment.steps) for segment in segments),
        "records": sum(entry.kind in ("step", "event") for entry in blocks["music"]),
        "count": step_length(sheet, engine).setting,
        "tones": len(pitches),
        "patterns": len(patterns),
        "entries": len(blocks.get("order", ())),
        **({} if goal is None else {"loop": blocks[last].index(goal)}),
    }
    blocks[last] = _with_ending(layout, blocks[last], goal, sheet.loop_step is not None)
    entries, offsets, labels = _laid_out(layout, blocks, goal)
    lengths = tuple(map(len, patterns))
    filled = numbers["steps"] - len(steps)
    splits = sheet.loop_step is not None and goal is None
    return DataPlan(
        layout, entries, offsets, labels, numbers, lengths, filled, told_as, drums, lost, splits
    )


def _steps(
    sheet: Sheet, engine: Engine, drums: Mapping[str, tuple[int, ...]]
) -> tuple[list[_Step], Mapping[str, int]]:
    """Return what is written on each step, without the drums that have no code, and these."""
    played_steps(sheet, engine)
    rows = zip(tones(sheet.voice1), tones(sheet.voice2), sheet.drums, strict=True)
    steps = [_Step(one, two, drum if drum in drums else None) for one, two, drum in rows]
    lost = Counter(drum for drum in sheet.drums if drum is not None and drum not in drums)
    return steps, dict(sorted(lost.items()))


def _segments(sheet: Sheet, layout: Layout, steps: Sequence[_Step]) -> list[_Segment]:
    length = layout.pattern_steps
    if layout.order and length:
        borders = {*range(0, len(steps), length), len(steps)}
    else:
        borders = {0, sheet.loop_step or 0, len(steps)}
        borders |= {*sheet.bar_starts} if layout.order else set()
    found = [_Segment(a, tuple(steps[a:b])) for a, b in pairwise(sorted(borders))]
    if layout.order and length and found:
        missing = length - len(found[-1].steps)
        found[-1] = _Segment(found[-1].start, found[-1].steps + (_SILENCE,) * missing)
    return found


class _Teller:
    """Makes the records of music."""

    def __init__(
        self, layout: Layout, tones: Mapping[int, int], drums: Mapping[str, tuple[int, ...]]
    ) -> None:
        self.layout = layout
        self._tones = tones
        self._drums = drums
        self._placed = {"voice1": 0, "voice2": 1}.get(layout.drums.place)
        self._longest = 1
        for field in layout.event:
            if field.value == "length":
                self._longest = (layout.limit(field) - field.add) // field.times

    def entries(self, segment: _Segment, ends: bool = True) -> Iterator[DataRecord]:
        """Yield the records of a segment; the last record of all is in it, or not."""
        held: list[int | str | None] = [_UNKNOWN, _UNKNOWN]
        kind = "step" if self.layout.step else "event"
        start, steps = 0, segment.steps
        while start < len(steps):
            now = steps[start]
            tones = now.tone1, now.tone2
            end = self._end(steps, start)
            # A drum in a voice's place leaves the routine without that voice's tone.
            hidden = self._placed if now.drum is not None else None
            new = [hidden == voice or held[voice] != tones[voice] for voice in (0, 1)]
            held = [_UNKNOWN if hidden == voice else tones[voice] for voice in (0, 1)]
            numbers, codes = self._numbers(now, new)
            numbers |= {"length": end - start, "last": int(ends and end == len(steps))}
            yield DataRecord(kind, numbers, codes, step=segment.start + start)
            start = end

    def _end(self, steps: Sequence[_Step], start: int) -> int:
        """Return the step up to which a record tells all that sounds."""
        if self._placed is not None and steps[start].drum is not None:
            return start + 1
        same = steps[start]._replace(drum=None)
        most = min(start + self._longest, len(steps))
        return next((end for end in range(start + 1, most) if steps[end] != same), most)

    def _numbers(self, now: _Step, new: Sequence[bool]) -> tuple[dict[str, int], frozenset[str]]:
        numbers: dict[str, int] = {"hit": int(now.drum is not None)}
        codes = {"drum", "drum2", "drum3", "drum4"}
        hold = self.layout.tones.hold
        for voice, tone, fresh in zip("12", now[:2], new, strict=True):
            name = f"voice{voice}"
            numbers |= {f"new{voice}": int(fresh), f"hold{voice}": int(not fresh)}
            numbers[f"rest{voice}"] = int(tone is None)
            if not fresh and hold >= 0:
                numbers[name] = hold
                codes.add(name)
            elif tone is None:
                numbers[name] = self.layout.tones.rest
                codes.add(name)
            else:
                numbers[name] = self._tones[tone]
        place = self.layout.drums.place
        if now.drum is not None:
            own = (*self._drums[now.drum], 0, 0, 0)
            numbers |= {place: own[0], "drum2": own[1], "drum3": own[2], "drum4": own[3]}
            codes.add(place)
        else:
            numbers |= {"drum2": 0, "drum3": 0, "drum4": 0}
            numbers |= {"drum": self.layout.drums.none} if place == "drum" else {}
        return numbers, frozenset(codes)


def _in_patterns(
    sheet: Sheet, segments: Sequence[_Segment], teller: _Teller
) -> dict[str, list[DataRecord]]:
    """Return the order list, the list of patterns and the patterns."""
    layout = teller.layout
    starts = zip(sheet.bar_starts, sheet.bars, strict=False)
    bars = {start: f"{bar.number}" for start, bar in starts}
    played: dict[tuple[_Step, ...], list[_Segment]] = {}
    for segment in segments:
        played.setdefault(segment.steps, []).append(segment)
    numbers: dict[tuple[_Step, ...], dict[str, int]] = {}
    music: list[DataRecord] = []
    for steps, same in played.items():
        told = list(teller.entries(same[0]))
        number = len(numbers)
        numbers[steps] = {"pattern": number, "steps": len(steps), "records": len(told)}
        named = [bars[segment.start] for segment in same if segment.start in bars]
        comment = f"bar {', '.join(named[:_MOST_NAMED])}" + " ..." * (len(named) > _MOST_NAMED)
        told[0] = told[0]._replace(label=f"pattern {number}", comment=comment * bool(named))
        music += [*told, *([DataRecord("pattern_end")] if layout.pattern_end else [])]
    order = [
        DataRecord(
            "order",
            {**numbers[segment.steps], "last": int(segment is segments[-1])},
            comment=f"bar {bars[segment.start]}" if segment.start in bars else "",
            step=segment.start,
        )
        for segment in segments
    ]
    listed = [DataRecord("pattern_list", each) for each in numbers.values()]
    return {"order": order, "pattern_list": listed if layout.pattern_list else [], "music": music}


def _in_a_row(
    sheet: Sheet, segments: Sequence[_Segment], teller: _Teller
) -> dict[str, list[DataRecord]]:
    """Return the music as one list, with a comment on each record that is the first of a bar."""
    starts = list(zip(sheet.bar_starts, sheet.bars, strict=False))[::-1]
    found = []
    for entry in chain.from_iterable(teller.entries(one, one is segments[-1]) for one in segments):
        comment = ""
        while starts and starts[-1][0] <= entry.step:
            comment = f"bar {starts.pop()[1].number}"
        found.append(entry._replace(comment=comment))
    return {"music": found}


def _goal(
    sheet: Sheet, segments: Sequence[_Segment], listed: Sequence[DataRecord]
) -> DataRecord | None:
    """Return the record that the piece goes on at; None: there is no loop, or it is inside of one."""
    starts = {segment.start for segment in segments}
    if sheet.loop_step not in starts:
        return None
    return next(entry for entry in listed if entry.step == sheet.loop_step)


def _pitch_entry(pitch: Pitch) -> DataRecord:
    numbers = {"setting": pitch.setting, "midi": pitch.midi}
    return DataRecord("pitches", numbers, comment=pitch_name(pitch.midi))


def _with_ending(
    layout: Layout, listed: Sequence[DataRecord], goal: DataRecord | None, loops: bool
) -> list[DataRecord]:
    """Return the list of the piece with what stands before its loop, and after it."""
    found = list(listed)
    if goal is not None and layout.loop_mark:
        found.insert(found.index(goal), DataRecord("loop_mark"))
    comment = "the piece goes on at its loop" if loops else "the piece ends"
    kind = "again" if loops and layout.again else "end"
    return [*found, DataRecord(kind, comment=comment)] if layout.record(kind) else found


def _laid_out(
    layout: Layout, blocks: Mapping[str, list[DataRecord]], goal: DataRecord | None
) -> tuple[tuple[DataRecord, ...], tuple[int, ...], dict[str, int]]:
    """Return the blocks' records with what fills gaps, where each begins, and the labels."""
    entries: list[DataRecord] = []
    offsets = [0]
    labels: dict[str, int] = {}
    for block in layout.blocks:
        for first, entry in enumerate(blocks.get(block, ())):
            begun = lcm(
                layout.align.get(block, 1) if first == 0 else 1,
                layout.align.get("pattern", 1) if entry.label else 1,
            )
            gap = -(layout.base + offsets[-1]) % begun
            if gap:
                entries.append(DataRecord("fill", {"bytes": gap}))
                offsets.append(offsets[-1] + gap)
            labels |= {block: offsets[-1]} if first == 0 else {}
            labels |= {entry.label: offsets[-1]} if entry.label else {}
            labels |= {"loop": offsets[-1]} if entry is goal else {}
            entries.append(entry)
            offsets.append(offsets[-1] + _size(layout, entry))
        labels.setdefault(block, offsets[-1])
    labels["end"] = offsets[-1]
    return tuple(entries), tuple(offsets), labels


def _size(layout: Layout, entry: DataRecord) -> int:
    if entry.kind == "fill":
        return entry.numbers["bytes"]
    fields = layout.record(entry.kind)
    bits = [layout.width(f) for f in fields if not f.when or entry.numbers[f.when]]
    return sum(bits) // 8
