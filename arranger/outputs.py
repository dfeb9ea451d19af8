"""What one conversion leaves on disk: sheet, ledger, report and sound, beside each other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from arranger.errors import SheetError, UsageError
from arranger.files import check_target, encoded, refuse_inputs, write_pieces
from arranger.report import (
    html_page_pieces,
    ledger_csv_pieces,
    ledger_json_pieces,
    suggestions,
)
from arranger.sheet.keep import write_generated
from arranger.sheet.played import played_steps

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from arranger.conversion import Conversion

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
    keep_edits: bool = False
    """The conversion has the edits of the sheet there (`arranger.conversion.by_hand.with_edits`)."""

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


def write_outputs(
    conversion: Conversion,
    name: str,
    choice: OutputChoice,
    *,
    progress: Callable[[int, int], None] | None = None,
) -> tuple[Path, ...]:
    """Write the files of a conversion and return their paths.

    The sheet comes first: when it was edited by hand and may not be overwritten, nothing is written,
    nor if an edit that is kept can't be played by the engine.
    Nor is anything if one of the files is the song itself, or can't be a target for another reason.

    Parameters
    ----------
    conversion
        What was done.
    name
        The files' common name, without folder and suffix.
    choice
        Which files, and where.
    progress
        Called with the samples done and the samples in all while sound is rendered.

    Raises
    ------
    OutputError
        If a file can't be written or is the song, or the sheet there was edited by hand.
    SheetError
        If the engine can't play an edit that is kept.
    """
    files = output_paths(choice, name)
    for file in files:
        check_target(file)
        if choice.song is not None:
            refuse_inputs(file, {"the song that is read here": choice.song})
    sheet, as_json, as_csv, page = files[:4]
    if choice.keep_edits:
        try:
            played_steps(conversion.sheet, conversion.engine)
        except SheetError as error:  # an edit that this engine can't play
            raise error.in_file(sheet) from None
    force = choice.force or choice.keep_edits
    write_generated(sheet, conversion.sheet, force=force, by=choice.command)
    write_pieces(as_json, ledger_json_pieces(conversion))
    write_pieces(as_csv, ledger_csv_pieces(conversion))
    tried = suggestions(conversion) if choice.suggestions else ()
    write_pieces(page, encoded(html_page_pieces(conversion, tried)))
    for audio in files[4:]:
        from arranger.sound import render

        render(conversion.sheet, conversion.engine, audio, progress=progress)
    return files
