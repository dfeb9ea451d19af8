"""The command line that does a conversion again, or does it otherwise: whole, so that it runs as it stands."""

from __future__ import annotations

import shlex
from typing import TYPE_CHECKING, NamedTuple

from arranger.options import command_line

if TYPE_CHECKING:
    from arranger.settings import Settings


class Run(NamedTuple):
    """How a conversion was started; paths as they were given, so the line runs in the same folder."""

    song: str
    folder: str = "."
    more: tuple[str, ...] = ()
    """Options that aren't among the settings, such as ``--no-audio``."""

    def line(self, settings: Settings) -> str:
        """Return the command line for some settings.

        >>> from arranger.settings import Settings
        >>> Run("-my song.mid", "out", ("--no-audio",)).line(Settings())
        "arranger convert './-my song.mid' -o out --no-audio"
        """
        song = f"./{self.song}" if self.song.startswith("-") else self.song
        folder = f"./{self.folder}" if self.folder.startswith("-") else self.folder
        words = ["arranger", "convert", song]
        words += ["-o", folder] if folder != "." else []
        options = command_line(settings)
        return " ".join([shlex.join([*words, *self.more]), *([options] if options else [])])
