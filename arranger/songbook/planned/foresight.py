"""What a run would do, told without one: nothing is written."""

from __future__ import annotations

from typing import TYPE_CHECKING

from arranger.errors import ArrangerError, SettingsError
from arranger.reduce.worth.parts_named import remarks_on_names
from arranger.sheet.keep import State, look
from arranger.songbook.asked.choice import asked_of
from arranger.songbook.asked.job import song_of
from arranger.songbook.known.index import NAME as INDEX_NAME
from arranger.songbook.known.index import REBUILT, looked_at
from arranger.songbook.known.why import output_stamps, reason
from arranger.songbook.planned.plan import Making, Planned, folder_of, gone_of, gone_told, plan

if TYPE_CHECKING:
    from collections.abc import Iterator

    from arranger.songbook.asked.choice import BookChoice
    from arranger.songbook.known.index import Known


def plan_book(choice: BookChoice) -> tuple[tuple[Planned, ...], tuple[str, ...]]:
    """Return what `arranger.songbook.book.convert_book` would do with each song, and remarks.

    Raises
    ------
    SettingsError
        If the folder or ``songbook.toml`` is wrong.
    """
    asked = asked_of(choice)
    index = looked_at(choice.out)
    known = {} if index is None else index.known
    lost = index is not None and index.rebuilt
    making = Making(None if index is None else index.program, asked.engines)
    planned = plan(asked.jobs, known, making, lost=lost)
    seen = tuple(_foreseen(each, known.get(each.job.relative)) for each in planned)
    remarks = (f"{INDEX_NAME} {REBUILT}", *asked.remarks) if lost else asked.remarks
    remarks += gone_told(gone_of(asked, known))
    return seen, (*remarks, *(told for each in seen for told in _remarks_on_parts(each)))


def _remarks_on_parts(planned: Planned) -> Iterator[str]:
    """Yield what is to be said of the names of parts that the settings of a song have."""
    job, reduce = planned.job, planned.job.settings.reduce
    if planned.is_left or not (reduce.mute or reduce.tune or reduce.bass):
        return
    try:
        song = song_of(job)
    except ArrangerError:
        return  # the run tells that it can't be read
    try:
        for remark in remarks_on_names(song, reduce):
            yield f"{job.relative}: {remark}"
    except SettingsError as error:
        yield f"{job.relative}: will fail: {error}"


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
