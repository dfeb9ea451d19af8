"""A sheet engraved on A4 pages, as SVG and as PDF.

verovio (LGPL) engraves the MusicXML, reportlab (BSD) writes PDF. Both come with
``pip install '.[score]'`` in a clone. The same sheet gives the same bytes: what engraves is given no
date and no random names.

An SVG has all pages, one beneath the other, so that a score is one file.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from arranger.errors import SettingsError, SheetError, one_line
from arranger.sheet.score.musicxml import to_musicxml
from arranger.sheet.score.pdf import pdf_document
from arranger.sheet.score.svg_page import Page, document, plain_page

if TYPE_CHECKING:
    from arranger.engine.model import Engine
    from arranger.sheet.model import Sheet

_WIDTH_MM, _HEIGHT_MM = 210, 297
_OPTIONS = {
    "xmlIdSeed": 1,
    "pageWidth": 10 * _WIDTH_MM,
    "pageHeight": 10 * _HEIGHT_MM,
    "pageMarginLeft": 120,
    "pageMarginRight": 120,
    "pageMarginTop": 120,
    "pageMarginBottom": 120,
    "unit": 8.5,  # half the distance of two lines, in tenths of a millimetre: a staff of 6.8 mm
    "justifyVertically": True,
    "spacingStaff": 10,
    "spacingBracketGroup": 10,
    "spacingSystem": 8,
    "smuflTextFont": "none",  # notes in text are drawn
    "footer": "none",
    "breaks": "auto",
    "breaksNoWidow": True,
}


def to_svg(sheet: Sheet, engine: Engine) -> bytes:
    """Return the score of a sheet as SVG, its pages beneath each other.

    Raises `SheetError` if the engine can't play the sheet, or a step is too small a share of a beat
    for notation; `SettingsError` if what engraves isn't installed.
    """
    return document(_pages(sheet, engine), _WIDTH_MM, _HEIGHT_MM, one_line(sheet.title))


def to_pdf(sheet: Sheet, engine: Engine) -> bytes:
    """Return the score of a sheet as PDF; raises as `to_svg`."""
    pages = _pages(sheet, engine)
    try:
        return pdf_document(pages, _WIDTH_MM, _HEIGHT_MM, one_line(sheet.title))
    except ImportError as error:
        raise _missing() from error


def _pages(sheet: Sheet, engine: Engine) -> list[Page]:
    """Return the engraved pages."""
    try:
        import verovio
    except ImportError as error:
        raise _missing() from error
    musicxml = to_musicxml(sheet, engine).decode()
    verovio.enableLog(verovio.LOG_OFF)  # else it writes to the terminal by itself
    toolkit = verovio.toolkit()
    toolkit.setOptions(_OPTIONS)
    if not toolkit.loadData(musicxml):
        raise SheetError("can't be engraved", remedy="verovio doesn't read its MusicXML")
    resources = Path(toolkit.getResourcePath())
    numbers = range(1, toolkit.getPageCount() + 1)
    return [plain_page(toolkit.renderToSVG(number), resources) for number in numbers]


def _missing() -> SettingsError:
    return SettingsError(
        "to engrave a score needs verovio and reportlab",
        remedy="in your clone of arranger say: pip install '.[score]'",
    )
