"""What one conversion leaves on disk: sheet, ledger, report and sound, beside each other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import SheetError, UsageError
from arranger.files import check_target, encoded, refuse_inputs, write_pieces
from arranger.report import (
    CommandRun,
    html_page_pieces,
    ledger_csv_pieces,
    ledger_json_pieces,
    suggestions,
)
from arranger.report.pages.sheet_lines import is_by_hand
from arranger.sheet.keep import NOT_KEPT, Keeping, write_generated
from arranger.sheet.played import played_steps

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from arranger.conversion import Conversion
    from arranger.report import Suggestion
    from arranger.report.pages.song_page import BookPlace

AUDIO_KINDS = ("wav", "flac", "ogg")


@dataclass(frozen=True, slots=True, kw_only=True)
class OutputChoice:
    """Which files are wanted, and where."""

    folder: Path
    song: Path | None = None
    """The song's file, which no output may replace."""
    audio: str | None = "wav"
    """One of `AUDIO_KINDS`, or None for no sound."""
    force: bool = False
    """Overwrite a sheet that was edited by hand."""
    suggestions: bool = False
    """Try what other settings would give, and tell in the report: as long as some conversions."""
    keeping: Keeping = NOT_KEPT
    """Whether the conversion has the edits of the sheet there (`arranger.conversion.by_hand.with_edits`)."""
    book: BookPlace | None = None
    """Where the page of the songbook is that the song belongs to."""
    command: str = "convert"
    """What the sheet's history calls it."""

    def __post_init__(self) -> None:
        if self.audio is not None and self.audio not in AUDIO_KINDS:
            raise UsageError(f"{self.audio!r} is none of {', '.join(AUDIO_KINDS)}")


def output_paths(choice: OutputChoice, name: str) -> tuple[Path, ...]:
    """Return where the files go: sheet, ledger as JSON and CSV, report, and sound if wanted."""
    suffixes = [".duet", ".ledger.json", ".ledger.csv", ".report.html"]
    if choice.audio is not None:
        suffixes.append(f".{choice.audio}")
    return tuple(choice.folder / f"{name}{suffix}" for suffix in suffixes)


class Written(NamedTuple):
    """What `write_outputs` did."""

    files: tuple[Path, ...]
    suggestions: tuple[Suggestion, ...]
    """What other settings would give, if that was asked for."""
    run: CommandRun
    """The command line that did it."""


def write_outputs(
    conversion: Conversion,
    name: str,
    choice: OutputChoice,
    *,
    progress: Callable[[int, int], None] | None = None,
) -> Written:
    """Write the files of a conversion and return what was written.

    The sheet comes first: when it was edited by hand and may not be overwritten, nothing is written,
    nor if an edit that is kept can't be played by the engine.
    Nor is anything if one of the files is the song itself, or can't be a target for another reason.

    ``conversion``: what was done.
    ``name``: the files' common name, without folder and suffix.
    ``choice``: which files, and where.
    ``progress``: called with the samples done and the samples in all while sound is rendered.

    Raises `OutputError` if a file can't be written or is the song, or the sheet there was edited by
    hand; `SheetError` if the engine can't play an edit that is kept.
    """
    files = _targets(choice, name)
    sheet = files[0]
    if choice.keeping.edits:
        try:
            played_steps(conversion.sheet, conversion.engine)
        except SheetError as error:  # an edit that this engine can't play
            raise error.in_file(sheet) from None
    force = choice.force or choice.keeping.edits
    write_generated(sheet, conversion.sheet, force=force, by=choice.command)
    return _write_account(conversion, files, choice, progress)


def write_account(conversion: Conversion, name: str, choice: OutputChoice) -> Written:
    """Write all files of a conversion but the sheet, which stands there as the conversion has it.

    Parameters and errors are those of `write_outputs`.
    """
    return _write_account(conversion, _targets(choice, name), choice, None)


def _targets(choice: OutputChoice, name: str) -> tuple[Path, ...]:
    """Return where the files go, if they may."""
    files = output_paths(choice, name)
    for file in files:
        check_target(file)
        if choice.song is not None:
            refuse_inputs(file, {"the song that is read here": choice.song})
    return files


def _write_account(
    conversion: Conversion,
    files: tuple[Path, ...],
    choice: OutputChoice,
    progress: Callable[[int, int], None] | None,
) -> Written:
    sheet, as_json, as_csv, page = files[:4]
    write_pieces(as_json, ledger_json_pieces(conversion))
    write_pieces(as_csv, ledger_csv_pieces(conversion))
    run = _run(conversion, choice)
    tried = _suggestions(conversion, choice, run, sheet) if choice.suggestions else ()
    write_pieces(page, encoded(html_page_pieces(conversion, tried, run=run, book=choice.book)))
    for audio in files[4:]:
        from arranger.sound import render

        render(conversion.sheet, conversion.engine, audio, progress=progress)
    return Written(files, tried, run)


def _run(conversion: Conversion, choice: OutputChoice) -> CommandRun:
    """Return the command line that does this conversion, without its settings."""
    audio = () if choice.audio == "wav" else ("--audio", choice.audio or "")
    keep = "--keep-edits=as-typed" if choice.keeping.as_typed else "--keep-edits"
    kept = (keep,) if is_by_hand(conversion) else ()
    more = (*(audio if choice.audio else ("--no-audio",)), *kept)
    if choice.command != "convert":  # a songbook's pages are the same wherever it lies
        return CommandRun(conversion.song.file, more=more)
    return CommandRun(str(choice.song or conversion.song.file), str(choice.folder), more)


def _suggestions(
    conversion: Conversion, choice: OutputChoice, run: CommandRun, sheet: Path
) -> tuple[Suggestion, ...]:
    if not is_by_hand(conversion):
        return suggestions(conversion, run=run)
    from arranger.conversion.by_hand import with_edits

    keeping = Keeping(edits=True, as_typed=choice.keeping.as_typed)
    return suggestions(
        conversion, run=run, keep_edits=lambda other: with_edits(other, sheet, keeping)[0]
    )
