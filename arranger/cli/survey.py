"""``arranger survey``: what is in a song, and how hard it will be."""

from __future__ import annotations

from typing import Annotated

import typer

from arranger.cli.keeping import TheSong
from arranger.cli.settings_options import with_settings
from arranger.cli.terminal import say, say_json
from arranger.settings import Settings


@with_settings("", "read", "drum")
def survey(
    song: TheSong,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON, for scripts.")] = False,
    *,
    settings: Settings,
) -> None:
    """Show what is in a song: parts, drums, length, tempo, metre, repairs.

    Also whether its notes follow its own beat, and how hard it will be to play with two voices: how
    many pitches sound at once, for how much of the time more than two, and how many notes lie
    outside the engine's pitch table.

    \b
    Examples:
      arranger survey parade.mid
      arranger survey parade.mid --engine twin-counter
      arranger survey parade.mid --drum cowbell=rim --drum 54=off
      arranger survey patterns.mid --pattern 3 --json
    """
    from arranger.engine import load_engine
    from arranger.report.summaries.survey import survey as look_through
    from arranger.report.summaries.survey import survey_lines, survey_values
    from arranger.song import read_song

    found = look_through(
        read_song(song, settings.read), load_engine(settings.engine), settings.reduce
    )
    if as_json:
        say_json(survey_values(found))
        return
    for line in survey_lines(found):
        say(line)
