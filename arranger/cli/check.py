"""``arranger check``: every problem of a sheet at once, with its place and what to do."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from arranger.cli.terminal import harmless, say, say_json, say_text


def _tell_grammar(asked: bool) -> None:
    if asked:
        from importlib.resources import files

        say(str(files("arranger.sheet.form").joinpath("duet.grammar.json")))
        raise typer.Exit


def check(
    sheets: Annotated[list[Path], typer.Argument(help="Sheets, NAME.duet.", metavar="SHEET")],
    as_json: Annotated[
        bool, typer.Option("--json", help="Print the problems as JSON, for scripts.")
    ] = False,
    _grammar: Annotated[
        bool,
        typer.Option(
            "--grammar",
            callback=_tell_grammar,
            is_eager=True,
            help="Print where the grammar lies that gives sheets syntax colours in an editor.",
        ),
    ] = False,
) -> None:
    """List all that is wrong with a sheet, or perhaps isn't meant so.

    Errors are what the engine can't play, warnings what it plays otherwise than it reads. The exit
    code is 1 if there is an error, else 0.

    \b
    Examples:
      arranger check song.duet
      arranger check *.duet
      arranger check song.duet --json
      arranger check --grammar
    """
    from arranger.errors import ArrangerError
    from arranger.machine import song_bytes
    from arranger.sheet.check import check_file
    from arranger.sheet.form.problem import problem_json, shown

    errors = 0
    reports: list[dict[str, Any]] = []
    for sheet in sheets:
        try:
            found = check_file(sheet, song_bytes)
        except ArrangerError as error:
            say(f"arranger: {error}", error=True)
            reports.append({"file": str(sheet), "errors": 1, "unreadable": str(error)})
            errors += 1
            continue
        errors += found.errors
        if as_json:
            reports.append(
                {
                    "file": str(sheet),
                    "bars": found.bars,
                    "steps": found.steps,
                    "errors": found.errors,
                    "warnings": found.warnings,
                    "problems": [problem_json(problem) for problem in found.problems],
                }
            )
            continue
        for problem in found.problems:
            say_text(shown(problem, harmless(str(sheet)), found.lines))
        say(f"{sheet}: {found.summary()}")
    if as_json:
        head = {"format": "arranger-check", "version": 1}
        say_json({**head, "sheets": reports})
    if errors:
        raise typer.Exit(1)
