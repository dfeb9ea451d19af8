"""One sheet under review: watched, told against its song, edited.

The file is the truth. Whatever writes it (an editor, a command, the page) makes a new `LiveState`; all
states have numbers, which rise. An edit is made from the state that its page showed; if the file holds
something else by then, both are joined (`arranger.review.joining`).
"""

from __future__ import annotations

from threading import Condition, Event, RLock, Thread
from typing import TYPE_CHECKING, NamedTuple

from arranger.conversion.behind import find_song, in_sheet, open_behind
from arranger.engine import load_engine
from arranger.errors import ArrangerError, SheetError
from arranger.machine import song_bytes
from arranger.review.asks import edit_of
from arranger.review.joining import joined
from arranger.review.lost_notes import trial, ways
from arranger.sheet.check import Checked, check_scan
from arranger.sheet.form.in_place import written_into
from arranger.sheet.form.parse import scan
from arranger.sheet.history.back import redo, undo
from arranger.sheet.history.file import OvertakenError, write_version
from arranger.sheet.io import read_text
from arranger.sheet.watch import saves

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path
    from typing import Any

    from arranger.conversion.behind import Behind, InSheet
    from arranger.review.lost_notes import Trial, Way
    from arranger.sheet.form.parse import Scan
    from arranger.sheet.model import Sheet

BY = "review"
"""What a sheet's history calls the page."""

_PAUSE_SECONDS = 0.02
_MOST_SEEN = 100
"""States whose sheets are remembered, for edits of pages that are behind."""
_MOST_TRIES = 5


class Shown(NamedTuple):
    """A sheet without errors, and what became of its song in it."""

    number: int
    """Of the state in which it came."""
    found: Scan
    account: InSheet


class LiveState(NamedTuple):
    """What the file holds."""

    number: int
    text: str
    checked: Checked | None
    """What is wrong with it; None: it can't be read at all."""
    shown: Shown | None
    """The last sheet without errors."""
    trouble: str = ""
    """What keeps it from being shown, in words."""
    overwritten: str = ""
    """The page's last edit, in words, if this was saved by somebody who didn't know of it."""


class Done(NamedTuple):
    """What an edit came to."""

    state: LiveState
    told: str = ""
    clashes: tuple[str, ...] = ()
    """What both the page and the file changed: nothing was written."""


class Live:
    """One sheet under review.

    ``path``: the sheet.
    ``song``: the song it was made from, or a folder to look in; None: see `find_song`.
    """

    def __init__(self, path: Path, song: Path | None = None) -> None:
        self.path = path
        self._song = song
        self._lock = RLock()
        self._new = Condition(self._lock)
        self._behind: Behind | None = None
        self._seen: dict[int, Scan] = {}
        self._closed = Event()
        self._watching: Thread | None = None
        self._state = LiveState(0, "", None, None)
        self._mine: _Mine | None = None

    @property
    def state(self) -> LiveState:
        """What the file held when it was last looked at."""
        return self._state

    @property
    def behind(self) -> Behind | None:
        """The song."""
        return self._behind

    def open(self) -> LiveState:
        """Look at the file, and go on doing so until `close`."""
        with self._lock:
            if self._watching is None:
                self.look()
                self._watching = Thread(target=self._watch, daemon=True)
                self._watching.start()
            return self._state

    def close(self) -> None:
        """Stop watching, and wake whoever waits."""
        self._closed.set()
        with self._new:
            self._new.notify_all()

    def wait(self, after: int, seconds: float) -> LiveState:
        """Return the state once its number is above another one, or as it is after some seconds."""
        with self._new:
            self._new.wait_for(lambda: self._state.number > after or self._closed.is_set(), seconds)
            return self._state

    def look(self) -> LiveState:
        """Return the state of the file as it is now."""
        with self._new:
            before = self._state
            try:
                text = read_text(self.path) or self._saved()
            except ArrangerError as error:
                now = before._replace(text="", checked=None, trouble=str(error), overwritten="")
                if before.checked is None and before.trouble == now.trouble:
                    return before
            else:
                if before.checked is not None and before.text == text:
                    return before
                now = self._read(text, before)
            self._state = now._replace(number=before.number + 1)
            self._new.notify_all()
            return self._state

    def edit(self, ask: Mapping[str, Any], seen: int) -> Done:
        """Make an edit of the state that a page showed, and write it.

        Raises `ArrangerError` if the edit can't be made, or the file not be written.
        """
        with self._lock:
            for _ in range(_MOST_TRIES):
                state = self.look()
                base = self._base(state, seen)
                edit = edit_of(self._opened(), base.account, ask)
                standing = base.found.sheet if state.shown is None else state.shown.found.sheet
                found = joined(base.found.sheet, edit.sheet, standing)
                if found.clashes:
                    return Done(state, clashes=found.clashes)
                if found.sheet == standing:
                    return Done(state, "nothing changed")
                if self._write(state.text, found.sheet):
                    self._mine = _Mine(standing, found.sheet, edit.told)
                    return Done(self.look(), edit.told)
        raise SheetError("the file is written again and again", file=self.path)

    def try_out(self, ask: Mapping[str, Any], seen: int) -> Trial:
        """Return what an edit would change; nothing is written. Raises as `edit` does."""
        with self._lock:
            base = self._base(self._state, seen)
            behind = self._opened()
            edit = edit_of(behind, base.account, ask)
            return trial(behind, base.account, edit.sheet)

    def ways(self, note: int, seen: int) -> tuple[Way, ...]:
        """Return the places that a note of the song could have. Raises as `edit` does."""
        with self._lock:
            base = self._base(self._state, seen)
            return ways(self._opened(), base.account, note)

    def undo(self, seen: int, *, forward: bool = False) -> Done:
        """Take back the last change of the sheet, or bring it back.

        Nothing is done if the file has changed since the page was shown: the page shows that first.

        Raises `ArrangerError` if there is none, or the file can't be written.
        """
        with self._lock:
            state = self.look()
            if state.number != seen:
                return Done(state, clashes=("the file was changed meanwhile",))
            self._mine = None
            (redo if forward else undo)(self.path)
            return Done(self.look(), "brought back" if forward else "taken back")

    def _saved(self) -> str:
        """Return the text of a file that was empty a moment ago: an editor may be at it just now."""
        self._closed.wait(_PAUSE_SECONDS)
        return read_text(self.path)

    def _watch(self) -> None:
        def pause(_seconds: float) -> None:
            if self._closed.wait(_PAUSE_SECONDS):
                raise _ClosedError
            if (
                self._state.checked is None
            ):  # the file was gone: as it comes back it may be the old one
                self.look()

        try:
            for _ in saves(self.path, sleep=pause):
                self.look()
        except _ClosedError:
            pass

    def _read(self, text: str, before: LiveState) -> LiveState:
        """Return the state of a text."""
        number = before.number + 1
        try:
            found = scan(text)
            checked = check_scan(
                found, lambda name: load_engine(name, beside=self.path), song_bytes
            )
            if checked.errors:
                return before._replace(text=text, checked=checked, trouble="")
            last, behind = self._behind, self._opened(found.sheet)
            known = before.shown.account if before.shown and behind is last else None
            account = in_sheet(behind, found.sheet, known)
            shown = Shown(number, found, account)
        except ArrangerError as error:
            nothing = Checked([], 0, 0, text.split("\n"))
            return before._replace(text=text, checked=nothing, trouble=str(error))
        self._seen[number] = found
        for old in sorted(self._seen)[:-_MOST_SEEN]:
            del self._seen[old]
        overwritten = ""
        if self._mine is not None and self._mine.is_gone_from(found.sheet):
            overwritten, self._mine = self._mine.told, None
        return LiveState(number, text, checked, shown, "", overwritten)

    def _opened(self, sheet: Sheet | None = None) -> Behind:
        behind = self._behind
        if sheet is not None and (behind is None or not behind.fits(sheet)):
            behind = open_behind(self.path, sheet, find_song(self.path, sheet, self._song))
            self._behind = behind
        if behind is None:
            raise SheetError(self._state.trouble or "there is no song", file=self.path)
        return behind

    def _base(self, state: LiveState, seen: int) -> Shown:
        """Return the sheet that a page showed.

        Raises `SheetError` if it isn't known any more, or the file has errors now: what is typed
        there comes first.
        """
        if state.checked is None or state.checked.errors or state.trouble:
            raise SheetError(
                "the file can't be read just now, so nothing is written into it",
                remedy=state.trouble or "mend it first",
            )
        base = max((number for number in self._seen if number <= seen), default=None)
        if base is None:
            raise SheetError("the page is too old", remedy="load it again")
        shown = state.shown
        if shown is not None and shown.number == base:
            return shown
        found, behind = self._seen[base], self._opened()
        known = None if shown is None else shown.account
        return Shown(base, found, in_sheet(behind, found.sheet, known))

    def _write(self, text: str, sheet: Sheet) -> bool:
        """Write a sheet in place of a text; false if something else stands there by now."""
        mark = "\ufeff" if self.path.read_bytes().startswith(b"\xef\xbb\xbf") else ""
        content = (mark + written_into(text, sheet)).encode()
        try:
            write_version(self.path, content, BY, instead_of=(mark + text).encode())
        except OvertakenError:
            return False
        return True


class _Mine(NamedTuple):
    """The last edit that the page wrote."""

    before: Sheet
    after: Sheet
    told: str

    def is_gone_from(self, sheet: Sheet) -> bool:
        """Return whether a sheet has everywhere what stood there before the edit."""
        if sheet.bar_starts != self.after.bar_starts:
            return False
        rows = zip(self.before.rows, self.after.rows, sheet.rows, strict=True)
        steps = [step for row in rows for step in zip(*row, strict=False)]
        return all(now == was for was, mine, now in steps if was != mine)


class _ClosedError(Exception):
    """Watching ends."""
