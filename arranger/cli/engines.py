"""``arranger engines``: what engines there are, what one can play, and a file to start one from."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from arranger.cli.terminal import say, say_json


def engines(
    name: Annotated[
        str | None,
        typer.Argument(
            help="An engine's name or the path of its .toml file; or the word new.", metavar="NAME"
        ),
    ] = None,
    file: Annotated[
        Path | None,
        typer.Argument(help="After new: the file to write; - is standard output.", metavar="FILE"),
    ] = None,
    like: Annotated[
        str | None,
        typer.Option("--like", metavar="ENGINE", help="After new: begin with this engine's file."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON, for scripts.")] = False,
) -> None:
    """List the engines; show one engine's pitches, step lengths and drums; or begin a new one.

    Without a name: the engines that come with the program. With a name or the path of a .toml
    file: every pitch with what the routine counts with, its frequency and its error in cents, the
    step lengths with their tempos, the drum sounds, the memory. With new and a file: a commented
    description to change into that of your own routine (no engine can be called new).

    \b
    Examples:
      arranger engines
      arranger engines twin-counter
      arranger engines new my-routine.toml
      arranger engines new other-drums.toml --like twin-phase
      arranger engines my-routine.toml --json
    """
    if name == "new":
        if file is None:
            raise typer.BadParameter("name the file to write: arranger engines new FILE.toml")
        from arranger.engine.create import new_engine
        from arranger.files import STDOUT

        new_engine(file, like=like)
        if file == STDOUT:
            return
        say(f"{file}: edit it, then look at it with: arranger engines {file}")
    elif file is not None or like is not None:
        raise typer.BadParameter("a file and --like are only for: arranger engines new FILE.toml")
    elif name is None:
        _list(as_json)
    else:
        _show(name, as_json)


def _list(as_json: bool) -> None:
    from arranger.engine import builtin_engines, load_engine
    from arranger.engine.describe import engine_line, engine_values

    found = [load_engine(name) for name in builtin_engines()]
    if as_json:
        say_json([engine_values(engine) for engine in found])
        return
    width = max(len(engine.name) for engine in found)
    for engine in found:
        say(f"{engine.name.ljust(width)}  {engine_line(engine)}")


def _show(name: str, as_json: bool) -> None:
    from arranger.engine import load_engine
    from arranger.engine.describe import engine_lines, engine_values

    engine = load_engine(name)
    if as_json:
        say_json(engine_values(engine))
        return
    for line in engine_lines(engine):
        say(line)
