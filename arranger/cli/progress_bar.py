"""A progress bar for work that takes longer than a second; on a terminal only."""

from __future__ import annotations

import sys
import time
from contextlib import contextmanager
from typing import TYPE_CHECKING

from arranger.cli.terminal import harmless, say

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

PATIENCE_SECONDS = 1.0


@contextmanager
def progress_bar(title: str) -> Iterator[Callable[[int, int], None]]:
    """Yield a function to call with the amount done and the whole; it draws on standard error.

    The bar appears when the work has taken a second, and goes when it ends.
    """
    if not sys.stderr.isatty():
        yield lambda _done, _whole: None
        return
    started = time.monotonic()
    shown = None
    task = None

    def report(done: int, whole: int) -> None:
        nonlocal shown, task
        if shown is None:
            if time.monotonic() - started < PATIENCE_SECONDS:
                return
            # Only now: rich takes longer to import than most sheets take to render.
            from rich.console import Console
            from rich.markup import escape
            from rich.progress import Progress

            shown = Progress(console=Console(stderr=True), transient=True)
            shown.start()
            task = shown.add_task(escape(harmless(title)), total=whole)
        if task is not None:
            shown.update(task, completed=done, total=whole)

    try:
        yield report
    finally:
        if shown is not None:
            shown.stop()


@contextmanager
def counting(what: str) -> Iterator[Callable[[int, int, str], None]]:
    """Yield a function to call with things done, things in all, and what to say of the time left.

    A terminal shows that on one line with a bar; a pipe gets a plain line at every tenth.
    """
    if sys.stderr.isatty():
        with _bar_of(what) as report:
            yield report
        return
    tenths = 0

    def tell(done: int, whole: int, left: str) -> None:
        nonlocal tenths
        now = 10 * done // max(whole, 1)
        if now > tenths:
            tenths = now
            say(", ".join(filter(None, (f"{done} of {whole} {what}", left))), error=True)

    yield tell


@contextmanager
def _bar_of(what: str) -> Iterator[Callable[[int, int, str], None]]:
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    shown = Progress(
        TextColumn(what),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("{task.fields[left]}"),
        console=Console(stderr=True),
        transient=True,
    )
    with shown:
        task = shown.add_task(what, total=None, left="")

        def report(done: int, whole: int, left: str) -> None:
            shown.update(task, completed=done, total=whole, left=left)

        yield report
