"""Options that commands share which change a sheet."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

OnlyLook = Annotated[
    bool, typer.Option("--check", help="Write nothing; only tell what would be done.")
]
Elsewhere = Annotated[
    Path | None,
    typer.Option(
        "-o",
        "--output",
        metavar="FILE",
        help="Leave the sheet as it is and write here; - is standard output.",
    ),
]
