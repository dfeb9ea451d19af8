"""The command line that does a conversion again, or does it otherwise: whole, so that it runs as it stands."""

from __future__ import annotations

import os
import re
import shlex
from typing import TYPE_CHECKING, NamedTuple

from arranger.options import spell

if TYPE_CHECKING:
    from arranger.settings import Settings


class CommandRun(NamedTuple):
    """How a conversion was started; paths as they were given, so the line runs in the same folder."""

    song: str
    folder: str = "."
    more: tuple[str, ...] = ()
    """Options that aren't among the settings, such as ``--no-audio``."""

    def line(self, settings: Settings) -> str:
        """Return the command line for some settings.

        >>> from arranger.settings import Settings
        >>> CommandRun("-my song.mid", "out", ("--no-audio",)).line(Settings())
        "arranger convert './-my song.mid' -o out --no-audio"
        """
        words = ["arranger", "convert", _path(self.song)]
        words += ["-o", _path(self.folder)] if self.folder != "." else []
        return " ".join(map(shell_word, [*words, *self.more, *spell(settings)]))


def _path(name: str) -> str:
    return f"./{name}" if name.startswith("-") else name


def shell_word(word: str) -> str:
    r"""Return a word as a shell reads it, in characters that can be shown and copied.

    Names that hold others, or bytes that are no text, are written as bash, zsh and ksh read them.

    >>> print(shell_word("my song"), shell_word("a\tb"), shell_word("\udcffc"))
    'my song' $'a\x09b' $'\xffc'
    """
    if word.isprintable():
        return shlex.quote(word)
    shown = (
        character
        if character.isprintable() and character not in "\\'"
        else "".join(f"\\x{byte:02x}" for byte in os.fsencode(character))
        for character in word
    )
    return f"$'{''.join(shown)}'"


_WORD = re.compile(r"""(?:\$'(?:[^'\\]|\\.)*'|'[^']*'|"[^"]*"|[^\s'"])+""")


def shell_words(line: str) -> list[str]:
    r"""Return the words of a command line as they are written.

    >>> shell_words("arranger convert 'my song.mid' $'a\\'b'")
    ['arranger', 'convert', "'my song.mid'", "$'a\\'b'"]
    """
    return _WORD.findall(line)
