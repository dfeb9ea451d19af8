"""What one conversion leaves on disk: sheet, ledger, report and sound, beside each other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from arranger.errors import SettingsError
from arranger.files import write_bytes, write_text
from arranger.report import html_page, ledger_csv, ledger_json
from arranger.sheet import write_sheet
from arranger.sound import render

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from arranger.pipeline import Conversion

AUDIO_KINDS = ("wav", "flac", "ogg")


@dataclass(frozen=True, slots=True, kw_only=True)
class OutputChoice:
    """Which files are wanted, and where."""

    folder: Path
    audio: str | None = "wav"
    """One of `AUDIO_KINDS`, or None for no sound."""
    force: bool = False
    """Overwrite a sheet that was edited by hand."""

    def __post_init__(self) -> None:
        if self.audio is not None and self.audio not in AUDIO_KINDS:
            raise SettingsError(f"{self.audio!r} is none of {', '.join(AUDIO_KINDS)}")


def write_outputs(
    conversion: Conversion,
    name: str,
    choice: OutputChoice,
    *,
    progress: Callable[[int, int], None] | None = None,
) -> tuple[Path, ...]:
    """Write the files of a conversion and return their paths.

    The sheet comes first: when it was edited by hand and may not be overwritten, nothing is written.

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
        If a file can't be written, or the sheet there was edited by hand.
    """
    stem = choice.folder / name
    files = [
        stem.with_name(f"{name}{suffix}")
        for suffix in (".duet", ".ledger.json", ".ledger.csv", ".report.html")
    ]
    write_sheet(conversion.sheet, files[0])
    write_bytes(files[1], ledger_json(conversion))
    write_bytes(files[2], ledger_csv(conversion))
    write_text(files[3], html_page(conversion))
    if choice.audio is not None:
        files.append(stem.with_name(f"{name}.{choice.audio}"))
        render(conversion.sheet, conversion.engine, files[-1], progress=progress)
    return tuple(files)
