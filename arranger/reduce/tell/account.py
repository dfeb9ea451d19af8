"""What became of every note: from finished rows, drums and sources to the ledger's entries.

One function, `account`, reads what is heard (`arranger.reduce.perform.heard`) beside what was asked, so that
an entry can't say what the rows don't play; it serves a reduction and a sheet read back alike.

Thresholds
----------
A note is **kept** when it sounds in its own octave, starts within a tenth of a step (or 10 ms) of
where it is written, and ends within half a step of where it is written to end or, while a pedal
holds it on, at any time since its key came up. Else it is **changed** and the reasons say how. A
note on a drum starts right after it: up to `DRUM_SECONDS` later is what a drum and a note on one
beat are on such a speaker, and the entry only tells how late.

A note that no voice holds is **merged** when its pitch is heard all the same for at least half of its
length, or its pitch class in another octave, from a note that starts with it or that it is known to
double. A known copy (an echo, a part that doubles another a little later) is merged when the note it
copies is heard during it at all, and a note of a broken chord where the other takes turns. Else it is
**dropped**.

A note that is first heard a beat or more late counts as dropped too, unless it is then heard for most
of its length or takes turns with the notes of its chord: its start is lost, and what is heard of it later only fills a voice that had become
free. Notes take turns in voice 2 where chords are broken, and in voice 1 where the tune rests there;
the tune itself doesn't.
"""

from __future__ import annotations

from itertools import chain, pairwise
from typing import TYPE_CHECKING

from arranger.reduce.ledger import Entry, EntryColumns, Span, columns_of, entries_of
from arranger.reduce.tell import told
from arranger.reduce.tell.thresholds import (
    DRUM_SECONDS,
    END_SHARE,
    HEARD_SHARE,
    MOST_TAKERS,
    START_SECONDS,
    START_SHARE,
    Thresholds,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.reduce.perform.heard import Heard, VoiceRun
    from arranger.reduce.tell.asked import Asked

_TURNS = frozenset({"voices-full", "shortened-by-next-note", "shortened-for-gap"})
"""What happens to the notes of a broken chord because they take turns."""


def account(
    asked: Asked, heard: Heard, sounds: Sequence[str | None], only: Sequence[int] | None = None
) -> tuple[Entry, ...]:
    """Return one entry a note, in order: the rows of `account_columns`."""
    return tuple(entries_of(account_columns(asked, heard, sounds, only)))


def account_columns(
    asked: Asked, heard: Heard, sounds: Sequence[str | None], only: Sequence[int] | None = None
) -> EntryColumns:
    """Return one entry a note, in order.

    ``asked``: what the song asks for.
    ``heard``: what is heard.
    ``sounds``: shape (steps,): the names of the drum sounds.
    ``only``: the notes to account for; None: all.
    """
    notes = range(len(asked.drum)) if only is None else only
    if told._compiled is not None:
        return told.told_in_c(asked, heard, sounds, notes, Thresholds(_loose_share(asked)))
    return columns_of(list(map(_Accountant(asked, heard, sounds).entry, notes)))


def blame_limit(entries: tuple[Entry, ...], free: tuple[Entry, ...]) -> tuple[Entry, ...]:
    """Return the entries, with the limit as the reason of notes that were heard without it.

    So it is for notes that stand alone only since it silenced what was around them.
    """
    return tuple(
        entry._replace(reasons=("beyond-limit",), by=())
        if entry.outcome == "dropped"
        and (
            without.outcome != "dropped"
            or "stands-alone" in set(entry.reasons) - {*without.reasons}
        )
        else entry
        for entry, without in zip(entries, free, strict=True)
    )


def _loose_share(asked: Asked) -> float:
    """Return by what share of a step a kept note may start elsewhere than written."""
    return max(START_SHARE, START_SECONDS / asked.step_seconds)


class _Accountant:
    def __init__(self, asked: Asked, heard: Heard, sounds: Sequence[str | None]) -> None:
        self._asked = asked
        self._heard = heard
        self._sounds = sounds
        self._loose = _loose_share(asked)
        rows = zip(asked.turning, heard.sources, strict=True)
        self._turns = [[n if turns else -1 for turns, n in zip(*row, strict=True)] for row in rows]
        """For each voice and step the note that has a turn there, or -1."""
        self._firsts: dict[tuple[int, str | None], int] = {}
        for note in range(len(asked.drum) - 1, -1, -1):
            if asked.drum[note] and note not in asked.refused:
                self._firsts[asked.onset[note], asked.sound[note]] = note

    def entry(self, note: int) -> Entry:
        if note in self._asked.refused:
            reason, by = self._asked.refused[note]
            return Entry(note, "dropped", (reason,), (), None, by)
        return self._drum(note) if self._asked.drum[note] else self._tone(note)

    def _tone(self, note: int) -> Entry:
        runs = self._heard.runs.get(note)
        return self._silent(note) if runs is None else self._sounding(note, runs)

    def _sounding(self, note: int, runs: list[VoiceRun]) -> Entry:
        """Return the entry of a note that a voice holds and that is heard."""
        asked, heard, onset = self._asked, self._heard, self._asked.onset[note]
        first = last = runs[0]
        if len(runs) > 1:
            last = max(runs, key=lambda run: run.last)
        spans = tuple([Span(run.voice, run.first, run.last - run.first) for run in runs])
        tied_to = heard.tied_to(first)
        if tied_to is not None:
            reason = "repeat-tied" if first.first == onset else "same-pitch-doubled"
            return Entry(note, "merged", (reason,), spans, first.pitch, (tied_to,))
        causes: dict[str, Sequence[int]] = {}
        late, hidden = first.first - onset, heard.hidden[first.first]
        if late > 0:
            cause, by = self._late(onset, first.first)
            if late >= asked.steps_per_beat and not (
                self._in_turn(note, runs) or self._mostly_heard(note, runs)
            ):
                reason = "under-drum" if cause == "delayed-by-drum" else _crowded(by)
                return Entry(note, "dropped", (reason,), (), None, tuple(by))
            causes[cause] = by
        elif abs(asked.offset[note]) > self._loose:
            causes["moved-to-step"] = ()
        if hidden > DRUM_SECONDS and "delayed-by-drum" not in causes:
            causes["delayed-by-drum"] = ()
        if first.pitch != asked.pitch[note]:
            causes["octave-folded"] = ()
        long_enough = asked.written_end[note] - asked.rings[note] - END_SHARE
        if last.last > asked.written_end[note] + END_SHARE:
            causes["lengthened-to-step"] = ()
        elif last.last < long_enough:
            cause, by = self._cut(note, last)
            causes[cause] = by
        elif last is not first and any(
            a.last < min(b.first, long_enough) for a, b in pairwise(runs)
        ):
            causes["shortened-by-next-note"] = self._taker(first)
        if causes and not _TURNS.isdisjoint(causes) and self._in_turn(note, runs):
            rest = {reason: by for reason, by in causes.items() if reason not in _TURNS}
            causes = {"broken-chord": (), **rest}
        others = [*chain.from_iterable(causes.values())] if causes else []
        if hidden > START_SECONDS:
            others.append(heard.drum_at[first.first])
        by = tuple(dict.fromkeys([other for other in others if other != note])) if others else ()
        outcome = "changed" if causes else "kept"
        seconds = late * asked.step_seconds + hidden
        return Entry(note, outcome, tuple(causes), spans, first.pitch, by, None, seconds)

    def _mostly_heard(self, note: int, runs: list[VoiceRun]) -> bool:
        """Return whether a note is heard for most of its length, however late it begins."""
        length = self._asked.end[note] - self._asked.onset[note]
        return sum(run.last - run.first for run in runs) > (1 - HEARD_SHARE) * length

    def _in_turn(self, note: int, runs: list[VoiceRun]) -> bool:
        """Return whether a note is heard where the notes of its chord take turns."""
        if self._asked.tune[note]:
            return False
        for run in runs:
            turning = self._asked.turning[run.voice - 1]
            if turning[run.start] or turning[run.end - 1]:
                return True
        return False

    def _late(self, onset: int, first: int) -> tuple[str, Sequence[int]]:
        """Return why a note is first heard after its step, and the notes that are the cause."""
        if self._heard.free_steps(onset, first) == 0:
            return "delayed-by-drum", (self._heard.drum_at[onset],)
        return "voices-full", self._rivals(onset, first)

    def _cut(self, note: int, last: VoiceRun) -> tuple[str, Sequence[int]]:
        """Return why a note ends early, and the notes that are the cause."""
        heard = self._heard
        if last.end < self._asked.end[note]:
            repetition = heard.gap_before(last)
            if repetition is not None:
                return "shortened-for-gap", (repetition,)
        if last.last < last.end:
            return "shortened-by-next-note", (heard.drum_at[last.last],)
        if last.end < self._asked.note_end[note]:
            return "shortened-by-next-note", self._taker(last)
        return "moved-to-step", ()

    def _taker(self, run: VoiceRun) -> Sequence[int]:
        """Return the note that its voice holds straight after a run, if any."""
        row = self._heard.sources[run.voice - 1]
        return (row[run.end],) if run.end < len(row) and row[run.end] >= 0 else ()

    def _rivals(self, first: int, end: int) -> list[int]:
        """Return the notes that keep the voices busy from a step on: the first two that are met."""
        row1, row2 = self._heard.sources
        one, two = row1[first], row2[first]
        if -1 < one != two > -1:  # nearly always
            return [one, two]
        by: list[int] = []
        for step in range(first, end):
            by.extend([holder for holder in self._holders(step) if holder not in by])
            if len(by) >= 2:
                break
        return by

    def _holders(self, step: int) -> list[int]:
        """Return the notes that the voices are busy with on a step; a gap keeps one busy too."""
        found = []
        for row in self._heard.sources:
            before = row[step - 1] if step else -1
            if row[step] >= 0:
                found.append(row[step])
            elif before >= 0 and self._is_gap(before, step):
                found.append(before)
        return found

    def _is_gap(self, before: int, step: int) -> bool:
        runs = self._heard.runs.get(before, ())
        return any(
            run.end == step < self._asked.end[before] and self._heard.gap_before(run) is not None
            for run in runs
        )

    def _silent(self, note: int) -> Entry:
        """Return the entry of a note that no voice holds where it is heard."""
        asked, heard = self._asked, self._heard
        onset, end, pitch = asked.onset[note], asked.end[note], asked.out[note]
        needed = 0 if self._waits(note) else HEARD_SHARE * (end - onset)
        alike = heard.within(pitch % 12, onset, end)
        if not alike:
            return self._dropped(note)
        same = [run for run in alike if run.pitch == pitch]
        if same and heard.heard_steps(same, onset, end) >= needed:
            return self._merged(note, same)
        copied_from = (note, asked.octave_of[note], asked.duplicate_of[note])
        known = {asked.lead[other] for other in copied_from if other >= 0}
        copied = [run for run in alike if run.note in known]
        if copied:
            return self._merged(note, copied)
        with_it = [run for run in alike if asked.onset[run.note] == onset]
        if with_it and heard.heard_steps(with_it, onset, end) >= needed:
            return self._merged(note, with_it)
        return self._dropped(note)

    def _merged(self, note: int, runs: list[VoiceRun]) -> Entry:
        """Return the entry of a note that is heard in other notes, as the first of them has it."""
        onset, end, pitch = self._asked.onset[note], self._asked.end[note], runs[0].pitch
        runs = [run for run in runs if run.pitch == pitch]
        spans = tuple([self._heard.heard_between(run, onset, end) for run in runs])
        reason = "same-pitch-doubled" if pitch == self._asked.out[note] else "octave-doubled"
        by = tuple(dict.fromkeys([run.note for run in runs]))
        return Entry(note, "merged", (reason,), spans, pitch, by)

    def _dropped(self, note: int) -> Entry:
        onset, end = self._asked.onset[note], self._asked.end[note]
        if self._heard.free_steps(onset, end) == 0:
            drum = self._heard.drum_at[onset]
            return Entry(note, "dropped", ("under-drum",), (), None, (drum,))
        by = self._rivals(onset, end)
        rivals = [other for other in by if self._same_step(note, other)]
        if rivals:
            return Entry(note, "dropped", ("same-step",), (), None, tuple(rivals))
        if len(by) >= 2 and (takers := self._takers(note)):
            return Entry(note, "dropped", ("no-turn",), (), None, takers)
        return Entry(note, "dropped", (_crowded(by),), (), None, tuple(by))

    def _waits(self, note: int) -> bool:
        """Return whether a note is of a chord whose notes take turns from its start on."""
        return self._asked.turning[1][self._asked.onset[note]] and not self._asked.tune[note]

    def _takers(self, note: int) -> tuple[int, ...]:
        """Return the first notes that had the turns which this note of a chord waited for."""
        asked, found = self._asked, dict[int, None]()
        if not self._waits(note):
            return ()
        for step in range(asked.onset[note], asked.end[note]):
            for row in self._turns:
                if row[step] >= 0:
                    found[row[step]] = None
            if len(found) >= MOST_TAKERS:
                break
        return tuple(found)

    def _same_step(self, note: int, other: int) -> bool:
        """Return whether a note fell onto the step of another that it follows or leads."""
        asked = self._asked
        return (
            asked.part[note] == asked.part[other]
            and asked.onset[note] == asked.onset[other]
            and abs(asked.offset[note] - asked.offset[other]) > self._loose
        )

    def _drum(self, note: int) -> Entry:
        """Return the entry of a drum note that the engine has a sound for."""
        asked, step, mine = self._asked, self._asked.onset[note], self._asked.sound[note]
        chosen, said, span = self._heard.drum_at[step], self._sounds[step], (Span(0, step, 1),)
        if said in (None, asked.gap):
            by = tuple(self._holders(step))
            return Entry(note, "dropped", ("drum-thinned",), (), None, by)
        if mine != said and mine not in asked.joins.get(said, ()):
            return Entry(note, "dropped", ("same-step",), (), None, (chosen,))
        first = self._firsts[step, mine]
        if 0 <= chosen < len(asked.drum) and asked.sound[chosen] == mine:
            first = chosen
        if note != first:
            return Entry(note, "merged", ("same-pitch-doubled",), span, None, (first,), said)
        moved = abs(asked.offset[note]) > self._loose
        reasons = ("moved-to-step",) if moved else ()
        return Entry(note, "changed" if moved else "kept", reasons, span, None, (), said)


def _crowded(by: Sequence[int]) -> str:
    """Return why a note is left out that these notes kept from a voice: one may have been free."""
    return "voices-full" if len(by) >= 2 else "stands-alone"
