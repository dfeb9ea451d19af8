"""What a run would do, told without one: nothing is written."""

from __future__ import annotations

from typing import TYPE_CHECKING

from arranger.sheet.keep import State, look
from arranger.songbook.choice import jobs_of
from arranger.songbook.index import NAME as INDEX_NAME
from arranger.songbook.index import REBUILT, looked_at
from arranger.songbook.plan import Making, Planned, folder_of, plan
from arranger.songbook.why import output_stamps, reason

if TYPE_CHECKING:
    from arranger.songbook.choice import BookChoice
    from arranger.songbook.index import Known


def plan_book(choice: BookChoice) -> tuple[tuple[Planned, ...], tuple[str, ...]]:
    """Return what `arranger.songbook.book.convert_book` would do with each song, and remarks.

    Raises
    ------
    SettingsError
        If the folder or ``songbook.toml`` is wrong.
    """
    jobs, remarks = jobs_of(choice)
    index = looked_at(choice.out)
    known = {} if index is None else index.known
    lost = index is not None and index.rebuilt
    making = Making(None if index is None else index.program)
    planned = plan(jobs, known, making, lost=lost)
    seen = tuple(_foreseen(each, known.get(each.job.relative)) for each in planned)
    return seen, (f"{INDEX_NAME} {REBUILT}", *remarks) if lost else remarks


def _foreseen(planned: Planned, known: Known | None) -> Planned:
    """Return it with the reason why it will be left alone after all: that a hand edited its sheet."""
    job = planned.job
    if planned.record is not None or job.force or job.keeping.edits:
        return planned
    folder, name = folder_of(job), f"{job.place.rsplit('/', 1)[-1]}.duet"
    if known is not None and output_stamps(folder, [name])[name] == known.outputs.get(name):
        edited = known.record.edited
    else:
        edited = look(folder / name).state in (State.EDITED, State.PUT_BACK)
    return planned._replace(why=(*planned.why, reason("kept-edit"))) if edited else planned
