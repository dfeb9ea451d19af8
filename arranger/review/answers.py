"""What a request is answered, once the guard has let it in: pages, the state of a sheet, edits.

================  =================================================================================
``GET``           answer
================  =================================================================================
``/``             the songs, where a folder is reviewed
``/N/``           the page of song N
``/N/state``      its state as JSON, once its number is above ``after`` (or after 20 s)
``/N/parts``      its page without data, for what the template writes
================  =================================================================================

``POST /N/edit``, ``/N/try``, ``/N/ways``, ``/N/undo`` and ``/N/redo`` take JSON with ``seen``, the
number of the state that the page shows (`arranger.review.asks`).
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, NamedTuple
from urllib.parse import parse_qs, urlsplit

from arranger.errors import ArrangerError, SheetError, UsageError
from arranger.report.pages.build import asset, rendered
from arranger.report.pages.page_data import page_data
from arranger.report.pages.sheet_lines import lines_in
from arranger.report.pages.song_page import html_page_pieces
from arranger.report.summaries.command import CommandRun
from arranger.review.asks import number
from arranger.sheet.form.problem import problem_json

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from arranger.review.live import Done, Live, LiveState
    from arranger.review.lost_notes import Trial, Way


WAIT_SECONDS = 20.0
_MOST_NUMBER = 10**9
_MOST_CHANGED = 40
_MOST_PROBLEMS = 50

HTML, JSON = "text/html; charset=utf-8", "application/json"


class Response(NamedTuple):
    """What goes back."""

    status: int
    kind: str
    content: bytes


class Answers:
    """Answers requests about some sheets.

    ``songs``: the sheets under review.
    ``folder``: whether there is a page that offers them.
    """

    def __init__(self, songs: Sequence[Live], *, folder: Path | None = None) -> None:
        self._songs = songs
        self._folder = folder
        self._data: dict[Live, tuple[int, str]] = {}

    def get(self, path: str) -> Response:
        """Return the answer to a path, the secret taken off: "/0/state?after=3"."""
        split = urlsplit(path)
        if split.path == "/" and self._folder is not None:
            page = contents_page(self._folder, [live.path for live in self._songs])
            return Response(200, HTML, page.encode())
        live, what = self._song(split.path)
        if live is None:
            return _nothing()
        if what == "":
            state = live.open()
            return self._page(live, state, self._data_of(live, state))
        if what == "parts":
            return self._page(live, live.open(), "null")
        if what == "state":
            asked = {name: values[-1] for name, values in parse_qs(split.query).items()}
            return self._state(live, asked)
        return _nothing()

    def post(self, path: str, content: bytes) -> Response:
        """Return the answer to JSON that was sent to a path, the secret taken off: "/0/edit"."""
        live, what = self._song(path)
        if live is None:
            return _nothing()
        try:
            ask = json.loads(content)
            if not isinstance(ask, dict):
                raise UsageError("an edit is a JSON object")
            return _json(_done(live, what, ask))
        except ArrangerError as error:
            return _json({"refused": _words(error)})
        except (ValueError, RecursionError):
            return _json({"refused": "that is no JSON"})

    def close(self) -> None:
        """Stop watching the sheets."""
        for live in self._songs:
            live.close()

    def _page(self, live: Live, state: LiveState, data: str) -> Response:
        """Return the page of a sheet, or one that says why there is none yet."""
        shown = state.shown
        if shown is None:
            return Response(200, HTML, trouble_page(state, live.path.name).encode())
        told = {"number": state.number, "shown": shown.number, "folder": self._folder is not None}
        head = json.dumps(told | _head(live, state))
        song = None if live.behind is None else live.behind.source
        folder = str(live.path.parent)
        run = None if song is None else CommandRun(str(song), folder, ("--keep-edits",))
        pieces = html_page_pieces(shown.account.conversion, run=run, live=head, data=data)
        return Response(200, HTML, "".join(pieces).encode())

    def _state(self, live: Live, asked: Mapping[str, str]) -> Response:
        after, has = (_number(asked.get(name, "0")) for name in ("after", "shown"))
        live.open()
        state = live.wait(after, WAIT_SECONDS)
        told = {"number": state.number} | _head(live, state)
        if state.shown is None or state.shown.number == has:
            return _json(told)
        head = json.dumps(told | {"shown": state.shown.number})
        return Response(200, JSON, f'{head[:-1]}, "data": {self._data_of(live, state)}}}'.encode())

    def _data_of(self, live: Live, state: LiveState) -> str:
        """Return the data of a sheet as JSON; pages that show the same one share it."""
        shown, known = state.shown, self._data.get(live)
        if shown is None:
            return "null"
        if known is None or known[0] != shown.number:
            lines = lines_in(shown.found, live.path.name, shown.account.edited)
            known = (shown.number, "".join(page_data(shown.account.conversion, lines)))
            self._data[live] = known
        return known[1]

    def _song(self, path: str) -> tuple[Live | None, str]:
        _, _, rest = path.partition("/")
        at, _, what = rest.partition("/")
        if not (at.isascii() and at.isdecimal() and len(at) < 7 and int(at) < len(self._songs)):
            return None, ""
        return (self._songs[int(at)], what) if rest != at else (None, "")


def _done(live: Live, what: str, ask: Mapping[str, Any]) -> dict[str, Any]:
    seen = number(ask, "seen", _MOST_NUMBER)
    if what == "edit":
        return _told(live.edit(ask, seen))
    if what in ("undo", "redo"):
        return _told(live.undo(seen, forward=what == "redo"))
    if what == "try":
        return _trial(live.try_out(ask, seen))
    if what == "ways":
        return {"ways": [_way(way) for way in live.ways(number(ask, "note", _MOST_NUMBER), seen)]}
    raise UsageError(f"there is no {what!r}")


def _told(done: Done) -> dict[str, Any]:
    return {"number": done.state.number, "told": done.told, "clashes": done.clashes}


def _trial(trial: Trial) -> dict[str, Any]:
    """Return what would change as JSON: what fares worse first."""
    changed = sorted(trial.changed, key=lambda each: (-each.loss, each.note))
    told = [each._asdict() | {"worse": each.loss > 0} for each in changed[:_MOST_CHANGED]]
    return {
        "changed": told,
        "more": max(len(changed) - _MOST_CHANGED, 0),
        "loss": round(trial.loss, 3),
    }


def _way(way: Way) -> dict[str, Any]:
    told = {name: value for name, value in way.place._asdict().items() if name != "sheet"}
    return told | _trial(way.trial)


def _head(live: Live, state: LiveState) -> dict[str, Any]:
    """Return what is wrong with a sheet, as the page tells it."""
    problems = [] if state.checked is None else state.checked.problems
    lines = [] if state.checked is None else state.checked.lines
    return {
        "file": live.path.name,
        "trouble": state.trouble,
        "overwritten": state.overwritten,
        "problems": [
            problem_json(each) | {"text": lines[each.line - 1][:200]}
            for each in problems[:_MOST_PROBLEMS]
        ],
        "more": max(len(problems) - _MOST_PROBLEMS, 0),
    }


def _json(value: dict[str, Any]) -> Response:
    return Response(200, JSON, json.dumps(value).encode())


def _nothing() -> Response:
    return Response(404, "text/plain; charset=utf-8", b"nothing here\n")


def _number(text: str) -> int:
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 10 else 0


def _words(error: ArrangerError) -> str:
    return f"{error.what}; {error.remedy}" if error.remedy else error.what


MOST_SHEETS = 10_000


def sheets_in(folder: Path) -> list[Path]:
    """Return the sheets below a folder, in order of their names.

    Raises `SheetError` if there is none.
    """
    found = sorted(path for path in folder.rglob("*.duet") if path.is_file())[:MOST_SHEETS]
    if not found:
        raise SheetError(
            "holds no sheet", file=folder, remedy="arranger songbook writes one for each song"
        )
    return found


def contents_page(folder: Path, sheets: Sequence[Path]) -> str:
    """Return a page that offers the sheets of a folder."""
    names = [str(path.relative_to(folder)) for path in sheets]
    return rendered(
        "review.html",
        title=f"Songs in {folder.name or 'this folder'}",
        trouble="",
        problems=(),
        songs=names,
        style=asset("style.css"),
    )


def trouble_page(state: LiveState, name: str) -> str:
    """Return a page that says why a sheet can't be shown, and looks again."""
    problems = [] if state.checked is None else state.checked.problems
    return rendered(
        "review.html",
        title=name,
        trouble=state.trouble or "The sheet has errors.",
        problems=problems[:50],
        songs=(),
        style=asset("style.css"),
    )
