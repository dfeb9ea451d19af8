"""What a command on bars did, in one line, with the numbers before and after."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from arranger.bars import spoken

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from arranger.sheet.bar_edits.taken_apart import Reassembled
    from arranger.sheet.model import Sheet


class BarEdit(NamedTuple):
    """An edited sheet, and what was done."""

    sheet: Sheet
    told: str
    """One line: "bars 1-8 copied to bars 17-24; bars 17-32 are 25-40 now"."""

    def remarked(self, *remarks: str) -> BarEdit:
        """Return the edit with what else should be told, where there is something."""
        return self._replace(told="; ".join((self.told, *filter(None, remarks))))


def told_structure(
    what: str, before: Sheet, joined: Reassembled, origins: Sequence[int | None]
) -> str:
    """Return what was done, which bars have other numbers now, and what that changed in them.

    ``what``: what was done.
    ``before``: the sheet before.
    ``joined``: the sheet after.
    ``origins``: for each bar of that its index before; None for one of which ``what`` tells enough.
    """
    runs: list[list[tuple[int, int]]] = []
    for bar, origin in zip(joined.sheet.bars, origins, strict=True):
        if origin is None or before.bars[origin].number == bar.number:
            continue
        was = before.bars[origin].number
        if runs and (was, bar.number) == (runs[-1][-1][0] + 1, runs[-1][-1][1] + 1):
            runs[-1].append((was, bar.number))
        else:
            runs.append([(was, bar.number)])
    told = [what]
    told += [
        f"{spoken([was for was, _ in run])} {'is' if len(run) == 1 else 'are'} "
        f"{_range([now for _, now in run])} now"
        for run in sorted(runs)
    ]
    return "; ".join((*told, *_of_bars(joined)))


def told_content(
    what: str, before: Sheet, joined: Reassembled, followers: Sequence[int], chosen: Collection[int]
) -> str:
    """Return what was done, and which other bars are changed by that.

    ``what``: what was done, to which bars.
    ``before``: the sheet before.
    ``joined``: the sheet after.
    ``followers``: indices of the bars that play what changed ones play.
    ``chosen``: indices of the bars that somebody asked to change.
    """
    told = [what]
    if followers:
        numbers = [before.bars[key].number for key in followers]
        which = "which is as a changed one" if len(numbers) == 1 else "which are as changed ones"
        told.append(f"heard too in {spoken(numbers)}, {which}")
    return "; ".join((*told, *_of_bars(joined, chosen)))


def _of_bars(joined: Reassembled, chosen: Collection[int] = ()) -> list[str]:
    """Return what else happened to bars."""
    bars = joined.sheet.bars
    told = []
    started = [bars[at].number for at in joined.started if at not in chosen]
    if started:
        verb = "starts" if len(started) == 1 else "start"
        told.append(f"{spoken(started)} {verb} anew what was held there")
    if joined.written_out:
        apart = [bars[at].number for at in joined.written_out]
        told.append(f"{spoken(apart)} {'is' if len(apart) == 1 else 'are'} written out now")
    return told


def _range(numbers: Sequence[int]) -> str:
    return spoken(numbers).partition(" ")[2]
