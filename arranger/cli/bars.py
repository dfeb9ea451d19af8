"""``arranger bars``: bars are copied, put in, taken out, moved, and what they play is changed."""

from __future__ import annotations

from typing import Annotated

import typer

from arranger.cli.keeping import Elsewhere, OnlyLook, TheSheet, write_edited
from arranger.cli.terminal import say


def bars(
    sheet: TheSheet,
    what: Annotated[
        str,
        typer.Argument(
            help="copy, insert, delete, move, transpose, octave, swap, clear or fill.",
            metavar="WHAT",
        ),
    ],
    which: Annotated[
        str,
        typer.Argument(
            help="Bars: 5, 5-8, a section's name A, or A.2 for the second of that name; where bars "
            "stay also several, 4,8,12-13. For insert: how many.",
            metavar="BARS",
        ),
    ],
    how: Annotated[
        str | None,
        typer.Argument(
            help='octave: up or down. fill: a drum row like "kick . hat .", begun anew in each bar.',
            metavar="[up|down|ROW]",
            show_default=False,
        ),
    ] = None,
    to: Annotated[
        str | None,
        typer.Option(
            "--to",
            metavar="BAR",
            help="copy, insert, move: the bar or section in front of which they go; end: after "
            "the last bar.",
        ),
    ] = None,
    over: Annotated[
        bool, typer.Option("--over", help="copy: write over the bars from --to on, put none in.")
    ] = False,
    linked: Annotated[
        bool,
        typer.Option("--as", help="copy: write the copy as the bars copied, so that it follows."),
    ] = False,
    times: Annotated[
        int | None, typer.Option("--times", metavar="N", help="copy: so many copies in a row.")
    ] = None,
    by: Annotated[
        int | None, typer.Option("--by", metavar="N", help="transpose: semitones, below 0 down.")
    ] = None,
    no_fold: Annotated[
        bool,
        typer.Option(
            "--no-fold",
            help="transpose, octave: leave tones outside the engine's table to arranger check.",
        ),
    ] = False,
    metre: Annotated[
        str | None,
        typer.Option("--metre", metavar="N/N", help="insert: metre. Default: as the bar there."),
    ] = None,
    row: Annotated[
        list[str] | None,
        typer.Option(
            "--row",
            metavar="ROW",
            help="copy, transpose, octave, clear: only voice1, voice2 or drums; may be given again.",
        ),
    ] = None,
    only_look: OnlyLook = False,
    output: Elsewhere = None,
) -> None:
    """Copy, put in, take out and move bars of a sheet, or change what they play.

    copy puts the copy in front of bar --to; with --over it is written over the bars from there on,
    as it always is with --row. Bars count on in numbers afterwards; loop and section marks and
    comments go with their bars (a copy has none but section marks). Every other bar sounds as before: a tone that is held
    into bars which are moved, copied or transposed starts anew there, and one that was held out of
    them starts anew after them. A bar that is as another one follows that; if it is changed
    itself, it is written out. The version before is kept as NAME.duet~.

    \b
    Examples:
      arranger bars song.duet copy 1-8 --to 17
      arranger bars song.duet copy A --to end --as
      arranger bars song.duet copy 1-2 --to 5 --row drums
      arranger bars song.duet insert 2 --to 9 --metre 3/4
      arranger bars song.duet delete 5-6
      arranger bars song.duet move A.2 --to 1
      arranger bars song.duet transpose 9-16 --by -2 --row voice1
      arranger bars song.duet octave 9-16 down --row voice2
      arranger bars song.duet swap 5
      arranger bars song.duet clear 1-4 --row drums
      arranger bars song.duet fill 4,8,12 "kick . hat . | snare snare snare ."
      arranger bars song.duet fill 1-8 "kick . hat . | snare . hat ."
    """
    from arranger.errors import ArrangerError, UsageError
    from arranger.sheet import read_sheet
    from arranger.sheet.bar_edits.request import EditRequest, edit_bars

    asked = EditRequest(
        what=what, which=which, how=how, to=to, over=over, linked=linked, times=times, by=by,
        no_fold=no_fold, metre=metre, rows=tuple(row or ()),
    )  # fmt: skip
    before = read_sheet(sheet)
    try:
        found = edit_bars(before, asked, beside=sheet)
    except UsageError:
        raise
    except ArrangerError as error:
        raise error.in_file(sheet) from error
    aside = write_edited(sheet, before, found.sheet, output, by=f"bars {what}", only_look=only_look)
    if found.sheet == before:
        say(f"{sheet}: that changes nothing", error=aside)
    else:
        say(f"{'would be done: ' if only_look else ''}{found.told}", error=aside)
