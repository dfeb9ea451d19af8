"""Engraved pages: what is on them, and that nothing on them is left to chance."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections import Counter
from dataclasses import replace
from fractions import Fraction
from io import BytesIO
from typing import TYPE_CHECKING
from xml.etree import ElementTree

import pytest

from arranger.engine import load_engine
from arranger.errors import SettingsError
from arranger.rows import HOLD, REST
from arranger.sheet import Sheet, SheetBar, write_sheet
from arranger.sheet.score.engrave import to_pdf, to_svg
from arranger.sheet.score.musicxml import to_musicxml
from arranger.sheet.score.pdf import _draw_outline, _segments, _write

if TYPE_CHECKING:
    from pathlib import Path

ENGINE = load_engine("twin-phase")
SVG = "{http://www.w3.org/2000/svg}"
USED = "{http://www.w3.org/1999/xlink}href"
HEADS = {"#E0A2", "#E0A3", "#E0A4", "#E0A9", "#E0B3", "#E0DB"}
"""Noteheads of the Standard Music Font Layout: whole, half, black; x, circled x, diamond."""


def sheet_of(bars: int) -> Sheet:
    return Sheet(
        title="High tide",
        engine="twin-phase",
        step_beats=Fraction(1, 2),
        tempo=130,
        bars=tuple(SheetBar(n, 8, 4, 4, section="A" * (n == 1)) for n in range(1, bars + 1)),
        voice1=(67, 69, HOLD, 71, REST, 72, HOLD, HOLD) * bars,
        voice2=(43, *[HOLD] * 7) * bars,
        drums=("kick", None, "hat", "block", "snare", None, "hat-open", None) * bars,
    )


def test_all_notes_are_on_the_pages_and_nothing_has_a_name_by_chance() -> None:
    sheet = sheet_of(40)
    root = ElementTree.fromstring(to_svg(sheet, ENGINE))
    used = Counter(use.get(USED) for use in root.iter(f"{SVG}use"))
    notes = list(ElementTree.fromstring(to_musicxml(sheet, ENGINE)).iter("note"))
    sounding = [note for note in notes if note.find("rest") is None]
    assert sum(used[head] for head in HEADS) == len(sounding)
    ids = [each.get("id") for each in root.iter() if each.get("id")]
    assert sorted(ids) == sorted(name.removeprefix("#") for name in used)
    pages = len(root.findall(f"{SVG}g"))
    assert pages > 1
    bottoms = [
        max(float(text.get("y", 0)) for text in page.iter(f"{SVG}text") if text.text == "dr.")
        for page in root.findall(f"{SVG}g")
    ]
    assert max(bottoms) - min(bottoms) < 100, "full pages end at the same millimetre"
    assert (root.get("width"), root.get("height")) == ("210mm", f"{297 * pages}mm")
    words = [text.text for text in root.iter(f"{SVG}text")]
    assert {"High tide", "voice 1", "voice 2", "drums", "A", "=\xa0130"} <= set(words)
    assert used["#ECA5"] == 1  # the quarter note of the metronome mark
    dots = sum(len(note.findall("dot")) for note in notes)
    assert len(list(root.iter(f"{SVG}ellipse"))) == dots > 0
    assert to_pdf(sheet, ENGINE).count(b"/Type /Page\n") == pages


def test_words_stand_where_and_look_as_they_mean() -> None:
    """Tempo and rehearsal marks are bold and above the staff, numbers of bars italic, all else plain."""
    root = ElementTree.fromstring(to_svg(sheet_of(12), ENGINE))
    styles = {
        text.text: (text.get("font-weight"), text.get("font-style"))
        for text in root.iter(f"{SVG}text")
    }
    marks = {"=\xa0130", "A"}
    assert {text for text, style in styles.items() if style == ("bold", None)} == marks
    italic = {text for text, style in styles.items() if style == (None, "italic")}
    assert italic == {text for text in styles if text and text.isdecimal()} != set()
    lifted = root.findall(f".//{SVG}g[@transform='translate(0, -170)']")
    assert {text.text for group in lifted for text in group.iter(f"{SVG}text")} == marks
    (mark,) = (group for group in lifted if group.find(f"{SVG}use") is not None)
    note, words = mark.findall("*")
    x, scale = re.findall(r"[\d.]+", note.get("transform", ""))[0::2]
    drawn = root.find(f".//{SVG}g[@id='ECA5']/{SVG}path")
    assert drawn is not None
    width = max(max(points[::2]) for _, points in _segments(drawn.get("d", "")) if points)
    size = float(words.get("font-size", 0))
    after = float(x) + width * float(scale) + size / 4  # a space of Times is a quarter of its size
    assert float(words.get("x", 0)) == pytest.approx(after, abs=size / 10)


def test_every_process_engraves_the_same_bytes(tmp_path: Path) -> None:
    sheet = sheet_of(2)
    write_sheet(sheet, tmp_path / "tide.duet")
    formats = {"svg": to_svg, "pdf": to_pdf, "musicxml": to_musicxml}
    code = "; ".join(
        ["from arranger.cli.app import app"]
        + [
            f"app(['export', 'tide.duet', '--as', {name!r}, '-o', {name!r}], standalone_mode=False)"
            for name in formats
        ]
    )
    environment = {**os.environ, "PYTHONHASHSEED": "7"}
    subprocess.run([sys.executable, "-c", code], cwd=tmp_path, env=environment, check=True)
    for name, function in formats.items():
        assert (tmp_path / name).read_bytes() == function(sheet, ENGINE)


@pytest.mark.parametrize("title", ["", "a\x00b", "\ud800", "灯台 <Ω> & ž", "x" * 300])
def test_any_title_can_be_engraved(title: str) -> None:
    sheet = replace(sheet_of(1), title=title)
    ElementTree.fromstring(to_svg(sheet, ENGINE))
    assert to_pdf(sheet, ENGINE).startswith(b"%PDF")


@pytest.mark.parametrize(
    ("style", "font"),
    [
        ({}, "Times-Roman"),
        ({"font-style": "italic"}, "Times-Italic"),
        ({"font-weight": "bold"}, "Times-Bold"),
    ],
)
def test_words_on_a_page_are_set_as_their_style_says(style: dict[str, str], font: str) -> None:
    from reportlab.pdfgen.canvas import Canvas

    first = "Courier" if style else "Times-Roman"
    canvas = Canvas(BytesIO(), initialFontName=first, pageCompression=0)
    _write(canvas, ElementTree.Element("text", {"font-size": "10", **style}))
    drawn = canvas.getpdfdata().decode("latin-1")
    assert set(re.findall(r"/BaseFont /(Times-\w+)", drawn)) == {font}
    assert "1 0 0 -1 0 0 cm" in drawn, "upright on a page that is counted from its top"


@pytest.mark.parametrize(
    ("name", "kind", "operator"),
    [
        ("linecap", "butt", "0 J"),
        ("linecap", "round", "1 J"),
        ("linejoin", "miter", "0 j"),
        ("linejoin", "round", "1 j"),
    ],
)
def test_lines_end_and_meet_as_pdf_numbers_it(name: str, kind: str, operator: str) -> None:
    """ISO 32000-1, line cap and line join styles; the first of each is usual."""
    from reportlab.pdfgen.canvas import Canvas

    canvas = Canvas(BytesIO(), pageCompression=0)
    shape = {"points": "0,0 9,0 9,9", "stroke-width": "2", f"stroke-{name}": kind}
    _draw_outline(canvas, ElementTree.Element("polyline", shape))
    drawn = canvas.getpdfdata().decode("latin-1")
    assert re.findall(rf"\b\d {operator[-1]}\b", drawn) == [operator]


@pytest.mark.parametrize(
    ("module", "function"), [("verovio", to_svg), ("reportlab.pdfgen.canvas", to_pdf)]
)
def test_what_is_missing_is_said_in_one_line(
    module: str, function: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, module, None)
    with pytest.raises(SettingsError) as caught:
        function(sheet_of(1), ENGINE)  # type: ignore[operator]
    assert str(caught.value) == (
        "to engrave a score needs verovio and reportlab; "
        "in your clone of arranger say: pip install '.[score]'"
    )
