"""The entry of the installed command: until all is imported, Ctrl-C ends it without a traceback."""

from __future__ import annotations

import gc
import signal

YOUNG = 100_000
"""Objects that are made before garbage is looked for: imports and conversions make many and no rings."""


def main() -> None:
    """Import the command line and run it; an ignored Ctrl-C stays ignored."""
    gc.set_threshold(YOUNG)
    interruptible = signal.getsignal(signal.SIGINT) is signal.default_int_handler
    if interruptible:
        signal.signal(signal.SIGINT, signal.SIG_DFL)
    from arranger.cli.app import main as run

    if interruptible:
        signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        run()
    finally:
        gc.freeze()  # the end of a process would look through all that there is, twice
